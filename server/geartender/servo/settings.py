"""What the firmware must know of a build: its settings, computed from the sheet. Pure.

The names, units and ranges are those of link/PROTOCOL.md. The control loop is a proportional one on position with
feed-forward of speed (back-EMF), acceleration and friction, and a slow integral; the motor's own back-EMF damps it.
"""

from __future__ import annotations

import math
from binascii import crc32
from dataclasses import dataclass

from geartender.build import BuildSheet, MotorConstants, motor_constants, train
from geartender.build.disc import counts_per_motor_turn
from geartender.build.drive import Drive
from geartender.build.measured import Tuning
from geartender.build.motor import rotor_inertia_kg_m2
from geartender.build.pulse import PulseScale
from geartender.build.tables import Pulse
from geartender.link.lines import LINE_MAX
from geartender.servo.units import FINE, TICK_S, WIRE, Scale

OVERRIDE_MAX = 1.5
"""Highest speed override; the firmware takes no speed above this share of the sheet's limit."""

NO_LOAD_SHARE = 0.9
"""Share of the no-load speed above which a loaded motor cannot follow."""

DAMPING_FACTOR = 3.0
"""kp times the motor's count rate per volt is 1/(factor * time constant); 2 is well damped, 4 without overshoot."""

INTEGRAL_TIMES = 6.0
"""Time constants in which the integral does as much as the proportional part."""

KP_SUPPLY_SHARE = 0.25
"""Share of the supply that one count of error may ask: more, and a coarse disc makes the drive bang."""

QUICK_TIME_S = 0.02
"""s; time constant down to which the speed loop brings a slow motor: the speed estimate is not much quicker itself."""

DAMPING_MAX = 2.0
"""Volts of the speed loop for a volt of back-EMF that is missing; more would only make noise of a coarse disc."""

LAG_S = 0.006
"""s; three ticks of delay and estimate, added to the motor's time constant so that a quick motor stays damped too."""

SLEW_TICKS = 8
"""Ticks for the whole supply: quicker than any motor, slow enough to spare teeth a blow."""

STOP_FACTOR = 1.75
"""The stopping ramp against the sheet's acceleration: it stops for a reason, and friction helps."""

ROUNDED_UP = 1.001
"""What the firmware's bound on speed has over ours, so that rounding refuses nothing."""

ILLEGAL_PER_S = 10
"""Illegal transitions a second that are a fault, at least; or one in a hundred of the count rate."""

AUDIT_COUNTS = 2
"""Counts that the home mark may be off, besides the backlash and what a load winds the train up by."""

ASSUMED_BACKLASH_DEG = 1.0
"""deg; taken for play that nobody has measured."""

WRONG_WAY_COUNTS = 10
"""Counts against the drive that are the wrong direction."""

FOLLOWING_DEG = 3.0
FOLLOWING_COUNTS = 30
"""What the lever may fall behind at least; more where an overload must have the time to be told as such."""

BLOCKED_S = 0.08
"""s from the moment a lever is blocked until the current has risen to an overload; its time runs from there."""

SUPPLY_LOW_SHARE = 0.75
"""Share of the nominal supply below which it counts as low."""

WINDING_MAX_C = 100.0
"""deg C; taken where the sheet says nothing: enamel of the commonest class stands 130. Common practice, no source."""

HOME_SLOW_COUNTS_S = 50.0
"""Counts per s of the slow approach: ten ticks a count, so that the edge is known to a tenth of a count."""

HOME_SLOW_DEG_S = 0.25
"""deg per s below which a fine disc does not slow the approach down: nobody waits half a minute for a tenth of a fine count."""

HOME_SLOW_COUNTS_MAX = 150.0
"""Counts per s of the slow approach at most: three ticks a count still know the edge to half a count."""

HOME_STOP_COUNTS = 2.0
"""Counts in which the slow approach must be able to stop."""

HOME_BACK_DEG = 1.0
HOME_BACK_COUNTS = 8
"""How far to back off for the slow approach at least, besides the backlash."""

HOME_SPAN_SHARE, HOME_SPAN_DEG = 1.1, 10.0
"""How far to search: the travel or a turn, and a bit."""

STALL_SHARE = 0.7
"""Share of the homing current above which a motor that does not turn is stalled."""

MARGIN_DEG = 2.0
MARGIN_COUNTS = 8
"""What the count may lie beyond the travel before the guard acts."""

FOLLOW_SPAN_MAX = 1000
"""Ticks over which the firmware can average what follows a pulse; softer limits get less acceleration instead."""

FOLLOW_SUM_MAX = 2**29
"""What the way to a stop and the sum over the span may be in the follower's unit: the firmware's words with a bit to spare."""

WATCH = 0.22
"""Of a tick: how quickly the observer follows a change of the load, 110 rad/s; quicker, it follows a coarse disc's own noise."""

ANSWER_SHARE = 0.8
"""Share of a step of the estimated speed that drive and observer may take back by the next tick: from 1 on they would make each
other swing, whatever the disc does. A rotor too light for that is taken to be heavier."""

JAM_SPEED_SHARE = 0.1
"""Share of the speed limit by which the motor must be slower than asked for in a sudden jam, and at least"""

JAM_COUNTS = 0.1
"""counts a tick, below which a coarse and uneven disc does not know its speed."""

EDGES_MAX = 64
"""Edges of a turn of the disc whose places the firmware learns; a finer disc is even enough, or has no use for it."""

ASSUMED_STIFFNESS_NM_PER_DEG = 20.0
"""N·m per degree of a train whose stiffness nobody has measured."""

NO_PIN = 30
"""Stands for a pin that is not used."""

SILENCE_MS = 250
JOG_MS = 300
SETTLE_MS = 800
"""ms: see PROTOCOL.md; the first two are promised to users."""

COUNTS_MAX = 500_000_000
"""Travel and search in counts: less than half of what the firmware keeps a count modulo."""

GAIN_MAX = 4095
GAIN_SHIFT_MAX = 24
V_BITS = 17
A_BITS = 16
"""What the firmware's gains and their inputs may hold, so that every product fits 32 bits."""


@dataclass(frozen=True, slots=True)
class Dynamics:
    """The drive seen from the motor's shaft, in SI units and counts."""

    motor: MotorConstants
    inertia_kg_m2: float
    """Rotor and everything it turns."""
    rotor_kg_m2: float
    counts_per_rad: float
    friction_a: float
    """Current that motor and load take against friction, moving."""

    @classmethod
    def of(cls, sheet: BuildSheet, scale: Scale) -> Dynamics:
        """Refer the load to the motor."""
        drive = Drive.of(sheet)
        motor, ratio, efficiency = drive.motor, drive.ratio, max(drive.efficiency, 0.05)
        rotor = rotor_inertia_kg_m2(sheet.motor, motor)
        load = sheet.load.inertia_kg_m2 / (ratio * ratio * efficiency)
        friction = motor.no_load_current_a + sheet.load.friction_nm / scale.nm_per_a
        return cls(motor, rotor + load, rotor, counts_per_motor_turn(sheet.disc) / math.tau, friction)

    @property
    def time_s(self) -> float:
        """Mechanical time constant, driven from a voltage."""
        return self.motor.resistance_ohm * self.inertia_kg_m2 / self.motor.kt_nm_per_a**2

    @property
    def counts_per_volt_second(self) -> float:
        """Count rate that a volt makes."""
        return self.counts_per_rad / self.motor.kt_nm_per_a

    def volts_for_accel(self, counts_s2: float) -> float:
        """Voltage that accelerates everything."""
        return self.inertia_kg_m2 * counts_s2 / self.counts_per_rad / self.motor.kt_nm_per_a * self.motor.resistance_ohm

    def amps_for_rotor(self, counts_s2: float) -> float:
        """Current that accelerates the rotor alone."""
        return self.rotor_kg_m2 * counts_s2 / self.counts_per_rad / self.motor.kt_nm_per_a


def firmware_settings(sheet: BuildSheet, tuning: Tuning | None = None) -> dict[str, int]:
    """All settings of the firmware for a sheet that says enough to move. Raises ValueError for one that does not.

    `tuning` are gains found at the bench, in place of the computed ones.
    """
    if sheet.missing_to_move:
        raise ValueError(f"the sheet lacks {', '.join(sheet.missing_to_move)}")
    scale = Scale.of(sheet)
    dynamics = Dynamics.of(sheet, scale)
    control = {**_control(dynamics, sheet, scale), **(_tuned(tuning) if tuning else {})}
    return {
        **_supply(sheet, dynamics),
        **_observer(dynamics, sheet, scale, control["damping"] / 256),
        **control,
        **_ramps(sheet, scale),
        **_guards(sheet, scale, dynamics),
        **_heat(sheet, dynamics),
        **_travel(sheet, scale),
        **_homing(sheet, scale, dynamics),
        "rest_mode": {"brake": 0, "hold": 1, "coast": 2}[sheet.rest.after_move],
        "rest_deadband": 160,
        "silence_ms": SILENCE_MS,
        "jog_ms": JOG_MS,
        "settle_ms": SETTLE_MS,
        **_hardware(sheet),
        **_pulse(sheet, scale),
        "ndeg_per_count": _within(scale.deg_per_count * 1e9, 1, 10**11),
        "home_mdeg": _within(scale.home_deg * 1000, -(10**9), 10**9),
    }


def setting_lines(settings: dict[str, int]) -> list[tuple[str, ...]]:
    """The `name=value` fields of as few `set` requests as fit their lines."""
    room = LINE_MAX - len("1234567890 set*12345678\n")
    lines: list[list[str]] = [[]]
    for name, value in settings.items():
        text = f"{name}={value}"
        if sum(len(field) + 1 for field in lines[-1]) + len(text) + 1 > room:
            lines.append([])
        lines[-1].append(text)
    return [tuple(line) for line in lines]


def settings_digest(settings: dict[str, int]) -> str:
    """The digest that the firmware shows when it holds exactly these; the order is that of the page."""
    return f"{crc32(settings_text(settings).encode()):08x}"


def settings_text(settings: dict[str, int]) -> str:
    """All settings as the firmware writes them down to keep them."""
    return " ".join(f"{name}={settings[name]}" for name in ORDER)


def gain(value: float) -> tuple[int, int]:
    """A gain as num and shift, value being num / 2^shift, as fine as fits."""
    shift = GAIN_SHIFT_MAX
    while shift > 0 and round(value * 2**shift) > GAIN_MAX:
        shift -= 1
    return max(0, min(GAIN_MAX, round(value * 2**shift))), shift


def speed_limit(sheet: BuildSheet) -> float:
    """Highest speed of the output that is ever commanded, override included, deg per s."""
    limit = sheet.limits.speed_deg_s if sheet.limits else 0.0
    return min(OVERRIDE_MAX * limit, NO_LOAD_SHARE * Drive.of(sheet).no_load_deg_s)


def current_limit_a(sheet: BuildSheet) -> float:
    """Current that the drive may take: the bridge's limit, or what the motor takes at a stall."""
    stall = motor_constants(sheet.motor).stall_current_a
    limit = sheet.bridge.current_limit_a
    return stall if limit is None else min(limit, stall)


def overload_nm(sheet: BuildSheet) -> float:
    """Torque at the output that is too much."""
    return Drive.of(sheet).overload_nm


def torque_limit_nm(sheet: BuildSheet) -> float:
    """Torque that a motion may ask of the output at most: the sheet's limit, but never what is too much."""
    most = overload_nm(sheet)
    return min((sheet.limits and sheet.limits.torque_nm) or most, most)


def backlash_deg(sheet: BuildSheet) -> float:
    """Play at the output by the sheet; a guess where it says nothing."""
    known = train.backlash_deg(sheet.mesh)
    return ASSUMED_BACKLASH_DEG if known is None else known


def _within(value: float, low: int, high: int) -> int:
    return max(low, min(high, round(value)))


def _supply(sheet: BuildSheet, dynamics: Dynamics) -> dict[str, int]:
    stall_a = dynamics.motor.stall_current_a
    supply_mv = sheet.motor.supply_v * 1000
    return {
        "polarity": -1 if sheet.bridge.swapped else 1,
        "nominal_mv": _within(supply_mv, 1000, 60000),
        "max_duty": _within(sheet.bridge.max_duty * 10000, 500, 10000),
        "slew_mv": _within(supply_mv / SLEW_TICKS, 10, 60000),
        "drop_mv": _within((sheet.bridge.current_limit_a or stall_a) * dynamics.motor.resistance_ohm * 1000, 10, 60000),
        "supply_low_mv": _within(supply_mv * SUPPLY_LOW_SHARE, 0, 60000),
    }


def _control(dynamics: Dynamics, sheet: BuildSheet, scale: Scale) -> dict[str, int]:
    motor = dynamics.motor
    top_speed = 1.3 * motor.no_load_rad_s * dynamics.counts_per_rad * TICK_S * FINE
    speed_shift = _shift_to_fit(top_speed, V_BITS)
    accel_shift = _shift_to_fit(_highest_accel(sheet, scale), A_BITS)
    # the speed loop makes the motor quicker by 1 + damping, at the price of as much less speed for a volt
    damping = min(max(dynamics.time_s / QUICK_TIME_S - 1, 0), DAMPING_MAX)
    lag_s = dynamics.time_s / (1 + damping) + LAG_S
    volts = min(
        (1 + damping) / (DAMPING_FACTOR * lag_s * dynamics.counts_per_volt_second),
        KP_SUPPLY_SHARE * motor.supply_v,
    )
    integral_s = INTEGRAL_TIMES * lag_s
    per_v = 2**speed_shift / FINE / TICK_S
    per_a = 2**accel_shift / FINE / TICK_S**2
    gains = {
        "kp": volts * 1000 / 256,
        "ki": volts * 1000 / 256 * 4096 * TICK_S / integral_s,
        "ke": per_v / dynamics.counts_per_volt_second * 1000,
        "ka": dynamics.volts_for_accel(per_a) * 1000,
        "ri": 1 / motor.resistance_ohm,
        "kj": dynamics.amps_for_rotor(per_a) * 1000,
    }
    settings = {"speed_shift": speed_shift, "accel_shift": accel_shift, "damping": round(damping * 256)}
    for name, value in gains.items():
        settings[f"{name}_num"], settings[f"{name}_shift"] = gain(value)
    settings["ri_num"] = max(1, settings["ri_num"])
    settings["friction_ma"] = _within(motor.no_load_current_a * 1000, 0, 30000)
    return settings


def _tuned(tuning: Tuning) -> dict[str, int]:
    """Gains found at the bench."""
    kp, ki = gain(tuning.kp_v_per_count * 1000 / 256), gain(tuning.ki_v_per_count_s * 1000 / 256 * 4096 * TICK_S)
    return {
        "kp_num": kp[0],
        "kp_shift": kp[1],
        "ki_num": ki[0],
        "ki_shift": ki[1],
        "damping": _within(tuning.damping * 256, 0, 2048),
    }


def _observer(dynamics: Dynamics, sheet: BuildSheet, scale: Scale, damping: float) -> dict[str, int]:
    """What the observer of the load knows of the machine, and what a sudden jam is."""
    motor = dynamics.motor
    lightest = (1 + damping) * TICK_S * motor.kt_nm_per_a**2 / motor.resistance_ohm / ANSWER_SHARE
    rotor = max(dynamics.rotor_kg_m2, lightest)
    per_ma = motor.kt_nm_per_a / 1000 / rotor * dynamics.counts_per_rad * TICK_S**2 * WIRE
    per_a = 2 ** _shift_to_fit(_highest_accel(sheet, scale), A_BITS) / FINE / TICK_S**2
    load_nm = sheet.load.inertia_kg_m2 * math.radians(per_a * scale.deg_per_count)
    assert sheet.limits is not None  # noqa: S101 - firmware_settings has looked
    slower = max(scale.counts(sheet.limits.speed_deg_s) * TICK_S * JAM_SPEED_SHARE, JAM_COUNTS)
    gains = {
        "gain": per_ma,
        "blow": scale.load_ma(blow_nm(dynamics, sheet, math.radians(64 / WIRE / TICK_S * scale.deg_per_count))),
        "watch": WATCH**3 * 16 / per_ma,
        "kl": scale.load_ma(load_nm),
        "ohm": motor.resistance_ohm,
    }
    edges = counts_per_motor_turn(sheet.disc)
    settings: dict[str, int] = {}
    for name, value in gains.items():
        num, shift = gain(value)
        settings |= {f"{name}_num": num if name in ("kl", "blow") else max(1, num), f"{name}_shift": shift}
    return settings | {
        "back_num": _within(256 / Drive.of(sheet).efficiency ** 2, 256, GAIN_MAX),
        "jam_speed": _within(slower * WIRE, 1, 4194303),
        "disc_edges": edges if edges <= EDGES_MAX else 0,
    }


def stiffness_nm_per_deg(sheet: BuildSheet) -> float:
    """Stiffness of the train at the output, assumed where the sheet does not say it."""
    return sheet.load.stiffness_nm_per_deg or ASSUMED_STIFFNESS_NM_PER_DEG


def blow_nm(dynamics: Dynamics, sheet: BuildSheet, rad_s: float) -> float:
    """Torque to which the rotor's energy winds the train up when the output is held at that speed."""
    drive = Drive.of(sheet)
    stiffness = math.degrees(stiffness_nm_per_deg(sheet))
    return rad_s * math.sqrt(dynamics.rotor_kg_m2 * drive.ratio**2 * stiffness * drive.efficiency)


def _shift_to_fit(value: float, bits: int) -> int:
    shift = 0
    while shift < 16 and value / 2**shift >= 2**bits:
        shift += 1
    return shift


def _highest_accel(sheet: BuildSheet, scale: Scale) -> float:
    """Of any plan or ramp, in the firmware's unit; an override speeds time up and so counts twice."""
    assert sheet.limits is not None  # noqa: S101 - firmware_settings has looked
    return scale.fine_accel(sheet.limits.accel_deg_s2 * max(STOP_FACTOR, OVERRIDE_MAX**2))


def _ramps(sheet: BuildSheet, scale: Scale) -> dict[str, int]:
    assert sheet.limits is not None  # noqa: S101 - firmware_settings has looked
    accel, jerk = scale.fine_accel(sheet.limits.accel_deg_s2), scale.fine_jerk(sheet.limits.jerk_deg_s3)
    return {
        "ramp_accel": _within(accel, 1, 10**9),
        "ramp_jerk": _ramp_jerk(accel, jerk),
        "stop_accel": _within(accel * STOP_FACTOR, 1, 10**9),
        "stop_jerk": _ramp_jerk(accel * STOP_FACTOR, jerk * STOP_FACTOR**2),
        "max_speed": _within(scale.fine_speed(speed_limit(sheet)) * ROUNDED_UP, 1, 10**9),
    }


def _ramp_jerk(accel: float, jerk: float) -> int:
    """The jerk, but no smaller than the firmware's product of acceleration and ticks can hold."""
    return _within(max(jerk, accel * accel / 2**29), 1, 10**9)


def _guards(sheet: BuildSheet, scale: Scale, dynamics: Dynamics) -> dict[str, int]:
    overload_ma = scale.load_ma(overload_nm(sheet))
    for_s = sheet.overload.for_ms / 1000
    behind = scale.counts(speed_limit(sheet)) * (for_s + BLOCKED_S)
    rate = dynamics.motor.no_load_rad_s * dynamics.counts_per_rad
    gives_deg = backlash_deg(sheet) + overload_nm(sheet) / stiffness_nm_per_deg(sheet)
    return {
        "overload_ma": _within(overload_ma, 1, 30000),
        "overload_ms": _within(sheet.overload.for_ms, 2, 10000),
        "overload_ease": int(sheet.overload.action == "ease"),
        "stall_ma": _within(STALL_SHARE * _homing_a(sheet, scale, dynamics) * 1000, 1, 30000),
        "stall_ms": _within(sheet.overload.for_ms, 20, 10000),
        "following_counts": _within(max(scale.counts(FOLLOWING_DEG), FOLLOWING_COUNTS, behind), 2, 100_000),
        "wrong_way_counts": WRONG_WAY_COUNTS,
        "illegal_max": _within(max(ILLEGAL_PER_S, rate / 100), 1, 10_000),
        "audit_counts": _within(AUDIT_COUNTS + scale.counts(gives_deg), 1, 10_000),
    }


def _homing_a(sheet: BuildSheet, scale: Scale, dynamics: Dynamics) -> float:
    """Current while homing: enough for any load that is no overload, since the stop that it may meet is metal."""
    return min(current_limit_a(sheet), scale.load_ma(overload_nm(sheet)) / 1000 + dynamics.friction_a)


def _heat(sheet: BuildSheet, dynamics: Dynamics) -> dict[str, int]:
    motor = sheet.motor
    rise = (motor.thermal_k_per_w or 0.0) * dynamics.motor.resistance_ohm
    return {
        "winding_max": _within((motor.max_winding_c or WINDING_MAX_C) * 10, 300, 3000),
        "heat_num": _within(rise * 1000, 0, 1_000_000),
        "heat_tau_s": _within(motor.thermal_time_s or 1, 1, 100_000),
        "ambient": round(motor.ambient_c * 10),
    }


def _travel(sheet: BuildSheet, scale: Scale) -> dict[str, int]:
    travel = sheet.travel
    assert travel is not None  # noqa: S101 - firmware_settings has looked
    low, high = (0.0 if end is None else scale.counts(end - scale.home_deg) for end in (travel.min_deg, travel.max_deg))
    return {
        "endless": int(travel.endless),
        "travel_low": _within(low, -COUNTS_MAX, COUNTS_MAX),
        "travel_high": _within(high, -COUNTS_MAX, COUNTS_MAX),
        "travel_margin": _within(max(scale.counts(MARGIN_DEG), MARGIN_COUNTS), 0, 1_000_000),
        "turn_counts": _within(scale.counts_per_turn, 0, 400_000_000),
    }


def _homing(sheet: BuildSheet, scale: Scale, dynamics: Dynamics) -> dict[str, int]:
    home, limits, travel = sheet.home, sheet.limits, sheet.travel
    assert home is not None  # noqa: S101 - firmware_settings has looked
    assert limits is not None  # noqa: S101 - it has
    assert travel is not None  # noqa: S101 - it has
    fast = min(home.speed_deg_s, limits.speed_deg_s)
    wanted = min(max(HOME_SLOW_COUNTS_S, scale.counts(HOME_SLOW_DEG_S)), HOME_SLOW_COUNTS_MAX)
    slow_counts = min(wanted, math.sqrt(2 * HOME_STOP_COUNTS * scale.counts(limits.accel_deg_s2)), scale.counts(fast))
    span_deg = 360.0 if travel.endless else (travel.max_deg or 0.0) - (travel.min_deg or 0.0)
    back = max(scale.counts(HOME_BACK_DEG), HOME_BACK_COUNTS) + 1.5 * scale.counts(backlash_deg(sheet))
    homing_mv = _homing_a(sheet, scale, dynamics) * dynamics.motor.resistance_ohm * 1000
    return {
        "home_way": 1 if home.seek == "up" else -1,
        "home_fast": _within(scale.fine_speed(fast), 1, 10**9),
        "home_slow": _within(slow_counts * TICK_S * FINE, 1, 10**9),
        "home_back": _within(back, 1, 1_000_000),
        "home_span": _within(scale.counts(span_deg * HOME_SPAN_SHARE + HOME_SPAN_DEG) + back, 1, COUNTS_MAX),
        "home_drop_mv": _within(homing_mv, 10, 60_000),
    }


def _hardware(sheet: BuildSheet) -> dict[str, int]:
    pins, bridge = sheet.pins, sheet.bridge

    def number(pin: int | None) -> int:
        return NO_PIN if pin is None else pin

    return {
        "pin_disc": pins.disc_a,
        "pin_home": pins.home,
        "home_level": int(sheet.home is not None and sheet.home.mark_is == "high"),
        "bridge_inputs": int(bridge.inputs == "pwm_direction"),
        "pin_pwm_a": pins.pwm_a,
        "pin_pwm_b": pins.pwm_b,
        "pin_enable": number(pins.enable),
        "pwm_hz": bridge.pwm_hz,
        "pin_supply": number(pins.supply),
        "supply_ratio": round(sheet.supply.pin_ratio * 1000),
        "pin_tx": number(pins.tx),
        "pin_rx": number(pins.rx),
        "pin_pulse": pins.pulse if pulse_wanted(sheet) else NO_PIN,
        **_display(sheet),
    }


def _display(sheet: BuildSheet) -> dict[str, int]:
    display, pins = sheet.display, sheet.pins
    fitted = display_wanted(sheet)
    return {
        "display_kind": int(fitted),
        "pin_sda": pins.sda if fitted else NO_PIN,
        "pin_scl": pins.scl if fitted else NO_PIN,
        "display_width": display.width_px,
        "display_height": display.height_px,
        "display_address": display.address,
    }


def display_wanted(sheet: BuildSheet) -> bool:
    """Whether the sheet has a display."""
    return sheet.display.kind != "none"


def pulse_wanted(sheet: BuildSheet) -> bool:
    """Whether the sheet has a pulse input, and it is to be used."""
    return sheet.pulse is not None and sheet.pulse.enabled


def _pulse(sheet: BuildSheet, scale: Scale) -> dict[str, int]:
    """What the pulse asks for; a sheet without one has the common widths, which nothing will use."""
    pulse = sheet.pulse or Pulse(enabled=False)
    ends = PulseScale.of(pulse, sheet.travel)
    low, _, high = ends.angles_deg if ends else (0.0, 0.0, 0.0)
    return {
        "pulse_enabled": int(pulse.enabled and ends is not None),
        "pulse_min_us": pulse.min_us,
        "pulse_mid_us": pulse.mid_us,
        "pulse_max_us": pulse.max_us,
        "pulse_from": _within(scale.counts(low - scale.home_deg), -COUNTS_MAX, COUNTS_MAX),
        "pulse_to": _within(scale.counts(high - scale.home_deg), -COUNTS_MAX, COUNTS_MAX),
        "pulse_lost_ms": _within(pulse.lost_after_ms, 20, 60_000),
        "pulse_hold": int(pulse.on_lost == "hold"),
        "pulse_home": int(pulse.may_home),
        **_following(sheet, scale),
    }


def _following(sheet: BuildSheet, scale: Scale) -> dict[str, int]:
    """How the pulse is followed: within the sheet's limits, in a unit coarse enough that every sum fits the firmware's words."""
    assert sheet.limits is not None  # noqa: S101 - firmware_settings has looked
    limits = sheet.limits
    speed, accel = scale.fine_speed(limits.speed_deg_s), scale.fine_accel(limits.accel_deg_s2)
    jerk = max(scale.fine_jerk(limits.jerk_deg_s3), 1)
    span = _within(math.ceil(2 * accel / jerk), 1, FOLLOW_SPAN_MAX)
    accel = max(min(accel, jerk * span // 2), 1)
    shift = 0
    while shift < 16 and max(speed * (speed / accel + 1), speed * span) / 2**shift > FOLLOW_SUM_MAX:
        shift += 1
    return {
        "follow_shift": shift,
        "follow_speed": _within(speed // 2**shift, 1, 500_000_000),
        "follow_accel": _within(accel // 2**shift, 1, 250_000_000),
        "follow_span": span,
    }


ORDER = (
    *("polarity", "nominal_mv", "max_duty", "slew_mv", "drop_mv", "speed_shift", "accel_shift"),
    *("kp_num", "kp_shift", "ki_num", "ki_shift", "ke_num", "ke_shift", "ka_num", "ka_shift"),
    *("rest_deadband", "ri_num", "ri_shift", "kj_num", "kj_shift", "friction_ma"),
    *("ramp_accel", "ramp_jerk", "stop_accel", "stop_jerk", "max_speed"),
    *("overload_ma", "overload_ms", "overload_ease", "stall_ma", "stall_ms", "following_counts", "wrong_way_counts"),
    *("illegal_max", "audit_counts", "supply_low_mv", "winding_max", "heat_num", "heat_tau_s", "ambient"),
    *("endless", "travel_low", "travel_high", "travel_margin"),
    *("home_way", "home_fast", "home_slow", "home_back", "home_span", "home_drop_mv"),
    *("rest_mode", "silence_ms", "jog_ms", "settle_ms", "turn_counts", "damping"),
    *("gain_num", "gain_shift", "watch_num", "watch_shift", "kl_num", "kl_shift", "back_num", "ohm_num", "ohm_shift"),
    *("jam_speed", "blow_num", "blow_shift", "disc_edges"),
    *("pin_disc", "pin_home", "home_level", "bridge_inputs", "pin_pwm_a", "pin_pwm_b", "pin_enable", "pwm_hz"),
    *("pin_supply", "supply_ratio", "pin_tx", "pin_rx", "pin_pulse"),
    *("display_kind", "pin_sda", "pin_scl", "display_width", "display_height", "display_address"),
    *("pulse_enabled", "pulse_min_us", "pulse_mid_us", "pulse_max_us", "pulse_from", "pulse_to", "pulse_lost_ms"),
    *("pulse_hold", "pulse_home", "follow_shift", "follow_speed", "follow_accel", "follow_span"),
    *("ndeg_per_count", "home_mdeg"),
)
"""Names of all settings, in the order of the page."""
