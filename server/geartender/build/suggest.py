"""Suggestions where a sheet leaves a choice open: when to give up, and how fast to go. Rules of thumb, not measurements."""

import math

from pydantic import BaseModel, ConfigDict

from geartender.build.motor import MotorConstants
from geartender.build.sheet import BuildSheet

# Overload as a share of the stall torque: well above what a healthy drive needs (makers run motors at 10 to 30 % of stall),
# well below stall, so that a blocked output is noticed while the current still rises.
OVERLOAD_SHARE = 0.5
# Where the bridge limits the current, the overload must be reached before that limit is.
BRIDGE_SHARE = 0.8
# Speed as a share of the no-load speed: the rest of the voltage is left for torque and for control.
SPEED_SHARE = 0.6
# Share of the torque available at that speed that load and acceleration together may take.
TORQUE_SHARE = 0.5
# Least of that torque left for acceleration when the load takes nearly all: slow, but it moves.
LEAST_TORQUE_SHARE = 0.1
# Least time in s to reach the speed, and to reach the acceleration: quicker looks abrupt and rings in a printed frame.
SPEED_RISE_S = 0.25
ACCELERATION_RISE_S = 0.1


class SuggestedLimits(BaseModel):
    """Limits for [limits], under the same names."""

    model_config = ConfigDict(frozen=True)

    speed_deg_s: float
    accel_deg_s2: float
    jerk_deg_s3: float


def overload_nm(sheet: BuildSheet, motor: MotorConstants, gain: float) -> float:
    """Torque at the output to give up at; `gain` is the output's torque for one N·m of the motor."""
    torque = OVERLOAD_SHARE * motor.stall_torque_nm
    if sheet.bridge.current_limit_a is not None:
        at_limit = motor.kt_nm_per_a * (sheet.bridge.current_limit_a - motor.no_load_current_a)
        torque = min(torque, BRIDGE_SHARE * max(at_limit, 0.0))
    return torque * gain


def suggested_limits(sheet: BuildSheet, motor: MotorConstants, ratio: float, efficiency: float) -> SuggestedLimits:
    """Speed, acceleration and jerk of the output that the motor can follow with a margin, load included where known."""
    speed = SPEED_SHARE * sheet.bridge.max_duty * motor.no_load_rad_s
    gain = ratio * efficiency
    available = min(motor.torque_nm(speed) * gain, overload_nm(sheet, motor, gain))
    static = abs(sheet.load.gravity_nm) + sheet.load.friction_nm
    torque = max(TORQUE_SHARE * available - static, LEAST_TORQUE_SHARE * available)
    # The rotor's own inertia is overcome before the losses of the train, so it weighs less by them.
    inertia = (sheet.motor.rotor_inertia_kg_m2 or 0.0) * ratio * gain + sheet.load.inertia_kg_m2
    fastest = math.degrees(speed / ratio)
    acceleration = fastest / SPEED_RISE_S
    if inertia > 0.0:
        acceleration = min(acceleration, math.degrees(torque / inertia))
    return SuggestedLimits(
        speed_deg_s=round_down(fastest),
        accel_deg_s2=round_down(acceleration),
        jerk_deg_s3=round_down(acceleration / ACCELERATION_RISE_S),
    )


def round_down(value: float) -> float:
    """A positive value with two significant digits, never rounded up."""
    if value <= 0.0:
        return 0.0
    step = 10.0 ** (math.floor(math.log10(value)) - 1)
    return float(f"{math.floor(value / step * (1 + 1e-12)) * step:.2g}")
