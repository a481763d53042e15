"""The mechanics of a simulated servo: motor, train, load, stops, disc and home mark. Pure; SI units, angles in radians
inside.

The winding's inductance is left out (its time constant is far below a tick). A rigid train is one body; a train with
play or stiffness is two bodies with a spring and a damper between them, stepped finely enough for their own frequency.
Friction and stops act as impulses that can stop a body but never turn it round, which holds for any step. Gravity pulls
towards smaller angles.
"""

from __future__ import annotations

import math
import random
from bisect import bisect_right
from dataclasses import dataclass

from geartender.build.heat import resistance_at
from geartender.simulator.plant import DEFAULT_STIFFNESS_NM_PER_DEG, Plant
from geartender.simulator.wiring import Seen

TURN = 2.0 * math.pi
STEP_S = 0.0005
"""Seconds: four steps a tick follow the motor's own time constant (milliseconds) well."""
PHASE_PER_STEP = 0.35
"""Radians of the fastest oscillation in one step; the stepping is stable below 2, and this keeps its frequency within 1 %."""
STEPS_MAX = 16
"""Parts of a step at most: a train too stiff for that is taken to be as stiff as they allow, some thousand times a second."""
DAMPING = 0.15
"""Damping ratio of the train's own oscillation: printed teeth and grease swallow most of it."""
ROOM_C = 25.0
"""°C of a winding that nothing has warmed yet."""
HAND_RAD_S = TURN
"""Radians per second of a hand that turns the motor's shaft."""
LEAST_INERTIA_SHARE = 0.02
"""Of the rotor's inertia seen at the output: what the output wheels weigh when the sheet names no load."""


@dataclass(frozen=True, slots=True)
class Truth:
    """What really happens now; the fields and units of the truth file."""

    t_s: float
    output_deg: float
    motor_counts: int
    output_deg_s: float
    duty: float
    current_a: float
    output_nm: float


class Mechanics:
    """The servo's body. `advance` moves it on under a duty; the other methods look at it or spoil it."""

    def __init__(self, plant: Plant, seek_down: bool, seed: int) -> None:
        self.plant = plant
        self._random = random.Random(seed)
        self._edges = _edges(plant, self._random)
        ratio, gear, load, motor = plant.gear.ratio, plant.gear, plant.load, plant.motor
        self._ratio = ratio
        self._efficiency = gear.efficiency
        self._load_inertia = max(load.inertia_kg_m2, LEAST_INERTIA_SHARE * motor.rotor_inertia_kg_m2 * ratio * ratio)
        self._stiffness = math.degrees(gear.stiffness_nm_per_deg)
        if gear.backlash_deg and not gear.stiffness_nm_per_deg:
            self._stiffness = math.degrees(DEFAULT_STIFFNESS_NM_PER_DEG)
        self._half_play = math.radians(gear.backlash_deg) / 2
        rotor = motor.rotor_inertia_kg_m2 * ratio * ratio
        reduced = rotor * self._load_inertia / (rotor + self._load_inertia)
        self._stiffness = min(self._stiffness, reduced * (STEPS_MAX * PHASE_PER_STEP / STEP_S) ** 2)
        self._damping = 2 * DAMPING * math.sqrt(self._stiffness * reduced)
        phase = math.sqrt(self._stiffness / reduced) * STEP_S
        self._steps_per = max(1, math.ceil(phase / PHASE_PER_STEP))
        mark = plant.home
        self._home = (
            (mark.angle_deg - mark.width_deg, mark.angle_deg)
            if seek_down
            else (mark.angle_deg, mark.angle_deg + mark.width_deg)
        )
        self._low, self._high = -math.inf, math.inf
        if plant.stops is not None:
            self._low, self._high = math.radians(plant.stops.min_deg), math.radians(plant.stops.max_deg)
        self.time_s = 0.0
        self._output = math.radians(plant.start_deg)
        self._motor = self._output * ratio
        self._motor_speed = 0.0
        self._output_speed = 0.0
        self._torque = 0.0
        self._current = 0.0
        self._duty = 0.0
        self.supply_open_v = plant.supply.volts
        self._supply_v = plant.supply.volts
        self.extra_load_nm = 0.0
        self.push_nm = 0.0
        """Torque from outside on the output, upwards."""
        self.hung_nm = 0.0
        """What a weight hung on the lever pulls with where the lever is level."""
        self.winding_rise_k = 0.0
        """How much warmer the winding is than it was in the beginning."""
        self._ohm = plant.motor.resistance_ohm
        self.drop_share = 0.0
        self._jammed_at: float | None = None
        self._true_counts = self._cell()
        self._first_counts = self._true_counts
        self._seen = Seen(plant, self._true_counts)
        self._hand_left = 0.0
        self._lost = 0
        self.edge_age_s = 0.0
        self._dropping = random.Random(seed + 1)

    # --- looked at

    @property
    def counts(self) -> int:
        """What the counter of a board that was there from the start would show."""
        return self._seen.count - self._lost

    @property
    def levels(self) -> tuple[int, int]:
        """What the two sensors of the disc show."""
        return self._seen.levels

    @property
    def home_mark(self) -> bool:
        """Whether the home sensor sees its mark."""
        low, high = self._home
        sees = low != high and (math.degrees(self._output) - low) % 360.0 < high - low
        return {"good": sees, "never": False, "always": True, "inverted": not sees}[self.plant.wiring.home]

    @property
    def supply_mv(self) -> int:
        """Supply voltage at the bridge, mV."""
        return round(self._supply_v * 1000)

    def truth(self) -> Truth:
        """What really happens now."""
        return Truth(
            self.time_s,
            math.degrees(self._output),
            self._true_counts - self._first_counts,
            math.degrees(self._output_speed),
            self._duty,
            self._current,
            self._torque,
        )

    # --- spoilt

    def jam(self) -> None:
        """Hold the output where it is."""
        self._jammed_at = self._output

    def free(self) -> None:
        """Let it go again."""
        self._jammed_at = None

    def turn_by_hand(self, turns: float) -> None:
        """Turn the motor's shaft forwards by hand, as soon as it is not driven."""
        self._hand_left = turns * TURN

    # --- moved

    def advance(self, seconds: float, duty: float, driven: bool) -> None:
        """Move on by some seconds: `duty` is -1 to 1; not driven, the motor's ends are open."""
        wiring = self.plant.wiring
        duty, driven = -duty if wiring.motor_swapped else duty, driven and not wiring.motor_open
        self._duty = duty if driven else 0.0
        if self._hand_left > 0.0 and not driven:
            self._turn_by_hand(seconds)
            return
        if not driven and self._motor_speed == 0.0 and self._output_speed == 0.0 and self._at_peace():
            self._current = 0.0
            self._supply_v = self.supply_open_v
            self._warm(seconds)
            self.time_s += seconds
            return
        steps = max(1, round(seconds / STEP_S))
        if self._stiffness:
            self._advance_two(seconds, steps * self._steps_per, duty, driven)
        else:
            self._advance_rigid(seconds, steps, duty, driven)
        self._warm(seconds)
        self.time_s += seconds
        self._count()

    def _turn_by_hand(self, seconds: float) -> None:
        """A hand turns the shaft, and the train with it, up to the end stop."""
        step = min(self._hand_left, HAND_RAD_S * seconds)
        place, stopped = self._held(self._output + step / self._ratio)
        self._hand_left = 0.0 if stopped else self._hand_left - step
        self._motor += (place - self._output) * self._ratio
        self._output = place
        self._motor_speed = self._output_speed = 0.0
        self.time_s += seconds
        self._count()

    def _at_peace(self) -> bool:
        """Whether a body at rest with an open motor stays at rest."""
        pull = abs(self._pull())
        holds = self.plant.motor.coulomb_nm * self._ratio + self.plant.load.friction_nm + self.extra_load_nm
        return self._jammed_at is not None or pull <= holds

    def _pull(self) -> float:
        """Torque of everything that hangs on the output, towards smaller angles, less what pushes it from outside."""
        return (self.plant.load.gravity_nm + self.hung_nm) * math.cos(self._output) - self.push_nm

    def _warm(self, seconds: float) -> None:
        """Warm the winding by its current, or let it cool; copper's resistance grows with it."""
        motor = self.plant.motor
        if motor.thermal_k_per_w:
            ends_k = motor.thermal_k_per_w * self._current * self._current * self._ohm
            self.winding_rise_k += (ends_k - self.winding_rise_k) * seconds / motor.thermal_time_s
            self._ohm = resistance_at(motor.resistance_ohm, ROOM_C, ROOM_C + self.winding_rise_k)

    def _electric(self, duty: float, driven: bool) -> float:
        """Current under a duty at the present speed; notes the supply's sag."""
        motor = self.plant.motor
        if not driven:
            self._supply_v = self.supply_open_v
            return 0.0
        source = self.plant.supply.resistance_ohm
        current = (duty * self.supply_open_v - motor.ke_v_s * self._motor_speed) / (self._ohm + source * duty * duty)
        self._supply_v = max(0.0, self.supply_open_v - source * duty * current)
        return current

    def _advance_rigid(self, seconds: float, steps: int, duty: float, driven: bool) -> None:
        motor, load, ratio = self.plant.motor, self.plant.load, self._ratio
        dt = seconds / steps
        drag = load.friction_nm + self.extra_load_nm
        for _ in range(steps):
            self._current = self._electric(duty, driven)
            speed = self._motor_speed
            shaft = motor.ke_v_s * self._current - motor.viscous_nm_s * speed
            pull = self._pull()
            # losses in the teeth lie on the side that is driven: the load's when the motor drives, the motor's when the load does
            loss = self._efficiency if shaft * (speed or shaft) > 0.0 else 1.0 / self._efficiency
            inertia = motor.rotor_inertia_kg_m2 + self._load_inertia / (ratio * ratio * loss)
            force = shaft - pull / (ratio * loss)
            friction = motor.coulomb_nm + drag / (ratio * loss)
            speed = _slowed(speed + force / inertia * dt, friction / inertia * dt)
            place = self._output + speed / ratio * dt
            place, stopped = self._held(place)
            before = self._motor_speed
            self._motor_speed = 0.0 if stopped else speed
            self._motor += (place - self._output) * ratio
            self._output = place
            accel = (self._motor_speed - before) / dt if not stopped else 0.0
            passed = (
                shaft - _sign(speed or shaft) * min(motor.coulomb_nm, abs(shaft)) - motor.rotor_inertia_kg_m2 * accel
            )
            self._torque = passed * ratio * loss
        self._output_speed = self._motor_speed / ratio

    def _advance_two(self, seconds: float, steps: int, duty: float, driven: bool) -> None:
        motor, load, ratio = self.plant.motor, self.plant.load, self._ratio
        dt = seconds / steps
        rotor = motor.rotor_inertia_kg_m2
        drag = (load.friction_nm + self.extra_load_nm) / self._load_inertia * dt
        play, stiffness, damping = self._half_play, self._stiffness, self._damping
        middle = (1.0 / self._efficiency + self._efficiency) / 2 / ratio
        rub = (1.0 / self._efficiency - self._efficiency) / 2 / ratio
        for _ in range(steps):
            self._current = self._electric(duty, driven)
            twist = self._motor / ratio - self._output
            torque = 0.0
            if twist > play:
                torque = max(
                    0.0, stiffness * (twist - play) + damping * (self._motor_speed / ratio - self._output_speed)
                )
            elif twist < -play:
                torque = min(
                    0.0, stiffness * (twist + play) + damping * (self._motor_speed / ratio - self._output_speed)
                )
            # the teeth take more from a shaft that drives than they give to one that is driven: friction, which also holds
            felt, rubs = torque * middle, abs(torque) * rub
            force = motor.ke_v_s * self._current - motor.viscous_nm_s * self._motor_speed - felt
            self._motor_speed = _slowed(self._motor_speed + force / rotor * dt, (motor.coulomb_nm + rubs) / rotor * dt)
            self._motor += self._motor_speed * dt
            speed = _slowed(self._output_speed + (torque - self._pull()) / self._load_inertia * dt, drag)
            place, stopped = self._held(self._output + speed * dt)
            self._output_speed = 0.0 if stopped else speed
            self._output = place
            self._torque = torque

    def _held(self, place: float) -> tuple[float, bool]:
        """Where the output can be of where it would go, and whether something stops it."""
        if self._jammed_at is not None:
            return self._jammed_at, True
        if place < self._low:
            return self._low, True
        if place > self._high:
            return self._high, True
        return place, False

    def _cell(self) -> int:
        """The count that belongs to the motor's angle."""
        turns = self._motor / TURN
        whole = math.floor(turns)
        return whole * len(self._edges) + bisect_right(self._edges, turns - whole) - 1

    def _since_edge(self, edge: int) -> float:
        """Seconds since the motor was at an edge, at the speed that it has."""
        turn, index = divmod(edge, len(self._edges))
        way = self._motor - (turn + self._edges[index]) * TURN
        return max(0.0, way / self._motor_speed) if self._motor_speed else 0.0

    def _count(self) -> None:
        cell = self._cell()
        passed = cell - self._true_counts
        if passed and self.drop_share:
            lost = sum(self._dropping.random() < self.drop_share for _ in range(abs(passed)))
            self._lost += lost if passed > 0 else -lost
        self._true_counts = cell
        self._seen.follow(cell)
        if passed:
            self.edge_age_s = self._since_edge(cell if passed > 0 else cell + 1)


def _edges(plant: Plant, rng: random.Random) -> list[float]:
    """Where in a turn the edges of both sensors lie, each off its place by its own fixed amount."""
    count = 4 * plant.disc.marks
    off = plant.disc.phase_error_deg / 360.0 / plant.disc.marks
    return [0.0] + [index / count + rng.uniform(-off, off) for index in range(1, count)]


def _slowed(speed: float, most: float) -> float:
    """A speed after friction that can take away `most` of it, but not turn it round."""
    if speed > most:
        return speed - most
    if speed < -most:
        return speed + most
    return 0.0


def _sign(value: float) -> float:
    return 1.0 if value > 0.0 else -1.0 if value < 0.0 else 0.0
