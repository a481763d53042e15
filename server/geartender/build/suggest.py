"""Suggestions where a sheet leaves a choice open: when to give up, and how fast to go. Rules of thumb, not measurements."""

import math
from collections.abc import Sequence

from geartender.build.figure_models import SuggestedLimits
from geartender.build.motor import MotorConstants
from geartender.build.sheet import BuildSheet

# Overload as a share of the stall torque: well above what a healthy drive needs (makers run motors at 10 to 30 % of stall),
# well below stall, so that a blocked output is noticed while the current still rises.
OVERLOAD_SHARE = 0.5
# Where the bridge limits the current, the overload must be reached before that limit is.
BRIDGE_SHARE = 0.8
# Overload as a share of what the weakest mesh bears: the torque goes on rising while the guard makes sure of it.
TEETH_SHARE = 0.8
# Speed as a share of the no-load speed: the rest of the voltage is left for torque and for control.
SPEED_SHARE = 0.6
# Share of the torque available at that speed that load and acceleration together may take.
TORQUE_SHARE = 0.5
# Least of that torque left for acceleration when the load takes nearly all: slow, but it moves.
LEAST_TORQUE_SHARE = 0.1
# Least time in s to reach the speed, and to reach the acceleration: quicker looks abrupt and rings in a printed frame.
SPEED_RISE_S = 0.25
ACCELERATION_RISE_S = 0.1


def overload_nm(sheet: BuildSheet, motor: MotorConstants, gain: float, bearable: Sequence[float | None]) -> float:
    """Torque at the output to give up at; `gain` is the output's torque for one N·m of the motor.

    `bearable` is what each mesh's teeth bear of the output's torque while they run, None where that is not known.
    """
    torque = OVERLOAD_SHARE * motor.stall_torque_nm * gain
    if sheet.bridge.current_limit_a is not None:
        at_limit = motor.kt_nm_per_a * (sheet.bridge.current_limit_a - motor.no_load_current_a)
        torque = min(torque, BRIDGE_SHARE * max(at_limit, 0.0) * gain)
    return min([torque, *(TEETH_SHARE * each for each in bearable if each is not None)])


def suggested_limits(
    sheet: BuildSheet,
    motor: MotorConstants,
    ratio: float,
    gain: float,
    overload: float,
    sudden_stop_deg_s: float | None,
) -> SuggestedLimits:
    """Speed, acceleration and jerk of the output that the motor can follow with a margin, load included where known.

    `sudden_stop_deg_s` is the speed from which a sudden stop breaks teeth, None where that is not known.
    """
    speed = SPEED_SHARE * sheet.bridge.max_duty * motor.no_load_rad_s
    speed_because = (
        f"{SPEED_SHARE:.0%} of the no-load speed at the bridge's highest duty: the rest is left for torque and control."
    )
    if sudden_stop_deg_s is not None and math.radians(sudden_stop_deg_s) * ratio < speed:
        speed = math.radians(sudden_stop_deg_s) * ratio
        speed_because = "Faster, a sudden stop would make more torque than the weakest mesh bears."
    available = min(motor.torque_nm(speed) * gain, overload)
    static = abs(sheet.load.gravity_nm) + sheet.load.friction_nm
    torque = TORQUE_SHARE * available - static
    spare = f"{TORQUE_SHARE:.0%} of the {available:.3g} N·m there are at that speed, less {static:.3g} N·m for the load"
    accel_because = f"The torque left for it: {spare}."
    if torque < LEAST_TORQUE_SHARE * available:
        torque = LEAST_TORQUE_SHARE * available
        accel_because = (
            f"The load takes nearly all the torque there is: {LEAST_TORQUE_SHARE:.0%} of it is left for acceleration."
        )
    # The rotor's own inertia is overcome before the losses of the train, so it weighs less by them.
    inertia = (sheet.motor.rotor_inertia_kg_m2 or 0.0) * ratio * gain + sheet.load.inertia_kg_m2
    fastest = math.degrees(speed / ratio)
    acceleration = fastest / SPEED_RISE_S
    if inertia > 0.0 and math.degrees(torque / inertia) < acceleration:
        acceleration = math.degrees(torque / inertia)
    else:
        accel_because = (
            f"The speed is reached in {SPEED_RISE_S:g} s: quicker looks abrupt. The torque would allow more."
        )
    return SuggestedLimits(
        speed_deg_s=round_down(fastest),
        accel_deg_s2=round_down(acceleration),
        jerk_deg_s3=round_down(acceleration / ACCELERATION_RISE_S),
        speed_because=speed_because,
        accel_because=accel_because,
        jerk_because=f"The acceleration is reached in {ACCELERATION_RISE_S:g} s: quicker rings in a printed frame.",
    )


def round_down(value: float) -> float:
    """A positive value with two significant digits, never rounded up."""
    if value <= 0.0:
        return 0.0
    step = 10.0 ** (math.floor(math.log10(value)) - 1)
    return float(f"{math.floor(value / step * (1 + 1e-12)) * step:.2g}")
