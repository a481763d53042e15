"""What a path asks of motor and battery, by the mechanics of the build sheet. Pure.

At the output: T = J·α + gravity + friction·sign(ω). At the motor, the losses of the train lie on the side that is driven:
T / (i·η) while the motor drives, T·η / i while the load does, and nothing of it behind a worm that locks itself; to that come
the rotor's own acceleration and the motor's friction. I = T / Kt, U = I·R + Ke·ω, P = U·I where that is positive: the bridge
takes nothing back. Source: MIT, D.C. Motor Torque/Speed Curve Tutorial, section 3, for the motor; the rest is Newton's.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

from geartender.build import BuildSheet
from geartender.build.drive import Drive
from geartender.build.motor import rotor_inertia_kg_m2
from geartender.build.train import self_locking
from geartender.motion import Path, Piece, State

LEAST_EFFICIENCY = 0.05
"""Share; a train that passes less than this would not turn."""

Segment = tuple[float, float, float]
"""Torque at the start and at the end, N·m at the output, straight between, and the time in s."""


@dataclass(frozen=True, slots=True)
class Cost:
    """What a stretch of time costs."""

    seconds: float
    moving_s: float
    energy_j: float
    peak_nm: float
    """Largest torque at the output, as the motor model would show it."""
    segments: tuple[Segment, ...]
    """Torque that warms the motor, referred to the output."""
    starting_j: float
    """Heat in the winding while it speeds up, J."""
    braking_j: float
    """Heat in the winding while it slows down, J."""
    heat_j: float
    """Heat in the winding in all, J."""


@dataclass(frozen=True, slots=True)
class Effort:
    """The mechanics of one sheet."""

    drive: Drive
    rotor_kg_m2: float
    efficiency: float
    locks: bool

    @classmethod
    def of(cls, sheet: BuildSheet) -> Effort:
        """The mechanics of a sheet."""
        drive = Drive.of(sheet)
        rotor = rotor_inertia_kg_m2(sheet.motor, drive.motor)
        return cls(drive, rotor, max(drive.efficiency, LEAST_EFFICIENCY), self_locking(sheet.mesh))

    def torque_nm(self, state: State, way: float) -> float:
        """Torque at the output in a state, while it moves that way (1, -1; 0 at rest, where friction takes no part)."""
        load = self.drive.sheet.load
        return load.inertia_kg_m2 * math.radians(state.acceleration) + load.gravity_nm + load.friction_nm * way

    def current_a(self, state: State, way: float) -> float:
        """Motor current, A, positive where it drives towards larger angles."""
        motor, ratio = self.drive.motor, self.drive.ratio
        load = self.torque_nm(state, way)
        shaft = load / (ratio * self.efficiency)
        if load * way < 0.0:
            shaft = 0.0 if self.locks else load * self.efficiency / ratio
        shaft += self.rotor_kg_m2 * math.radians(state.acceleration) * ratio + motor.friction_nm * way
        return shaft / motor.kt_nm_per_a

    def power_w(self, state: State, way: float) -> float:
        """Electrical power, W, at least 0."""
        motor = self.drive.motor
        current = self.current_a(state, way)
        return max(motor.volts(self.drive.motor_rad_s(state.velocity), current) * current, 0.0)

    def holding_a(self) -> float:
        """Current that holds the output where it is, when the sheet says hold: what friction does not hold, A."""
        sheet, motor = self.drive.sheet, self.drive.motor
        if sheet.rest.after_move != "hold" or self.locks:
            return 0.0
        pull = max(abs(sheet.load.gravity_nm) - sheet.load.friction_nm, 0.0) * self.efficiency / self.drive.ratio
        return max(pull - motor.friction_nm, 0.0) / motor.kt_nm_per_a

    def resting(self, seconds: float) -> Cost:
        """What standing still costs."""
        amps = self.holding_a()
        torque = amps * self.drive.motor.kt_nm_per_a * self.drive.gain
        heat = amps * amps * self.drive.motor.resistance_ohm * seconds
        energy = heat + self.drive.sheet.supply.standby_w * seconds
        return Cost(seconds, 0.0, energy, torque, ((torque, torque, seconds),), 0.0, 0.0, heat)

    def along(self, path: Path) -> Cost:
        """What a path costs."""
        parts = [part for piece in path.pieces for part in one_way(piece)]
        peak = energy = heat = starting = braking = 0.0
        segments = []
        for part in parts:
            end = part.at(part.duration)
            middle = part.at(part.duration / 2)
            way = math.copysign(1.0, middle.velocity) if middle.velocity else 0.0
            states = (part.start, middle, end)
            peak = max(peak, *(abs(self.torque_nm(state, way)) for state in states))
            energy += simpson(part.duration, *(self.power_w(state, way) for state in states))
            amps = [self.current_a(state, way) for state in states]
            warmth = simpson(part.duration, *(a * a * self.drive.motor.resistance_ohm for a in amps))
            heat += warmth
            speeding = middle.acceleration * way
            starting += warmth if speeding > 0.0 else 0.0
            braking += warmth if speeding < 0.0 else 0.0
            segments.append((self._warming_nm(amps[0]), self._warming_nm(amps[2]), part.duration))
        standby = self.drive.sheet.supply.standby_w * path.duration
        return Cost(path.duration, path.duration, energy + standby, peak, tuple(segments), starting, braking, heat)

    def _warming_nm(self, amps: float) -> float:
        """The output's torque that a current would make, the motor's own friction taken off; signed like the current."""
        motor = self.drive.motor
        return math.copysign(max(abs(amps) * motor.kt_nm_per_a - motor.friction_nm, 0.0) * self.drive.gain, amps)


def one_way(piece: Piece) -> list[Piece]:
    """The piece cut where it turns round."""
    cuts = [0.0, *piece.turning_times(), piece.duration]
    return [Piece(end - begin, piece.at(begin), piece.jerk) for begin, end in pairwise(cuts) if end > begin]


def simpson(width: float, first: float, middle: float, last: float) -> float:
    """The integral over a width by Simpson's rule."""
    return width * (first + 4 * middle + last) / 6
