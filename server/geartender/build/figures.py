"""What follows from a build sheet by calculation: all figures, put together from the modules beside this one."""

from __future__ import annotations

import math

from geartender.build.disc import by_interval, by_window, counts_per_motor_turn, interval_better_below
from geartender.build.drive import Drive
from geartender.build.figure_groups import (
    highest_v,
    input_figures,
    mesh_figures,
    pulse_figures,
    supply_figures,
    winding_figures,
)
from geartender.build.figure_models import CurvePoint, Figures, MotorFigures, SpeedResolution, WorkingPoint
from geartender.build.motor import RAD_S_PER_RPM, MotorConstants
from geartender.build.notes import notes, warnings
from geartender.build.sheet import BuildSheet
from geartender.build.strength import sudden_stop_nm, sudden_stop_speed_deg_s, weakest
from geartender.build.suggest import suggested_limits
from geartender.build.train import backlash_by_stage_deg, backlash_deg, output_sense, self_locking

# Steps of the curve from standstill to no-load speed: enough for a smooth line of efficiency.
CURVE_STEPS = 20


def figures(sheet: BuildSheet) -> Figures:
    """Compute the figures of a build sheet; it need not say enough to move."""
    drive = Drive.of(sheet)
    motor, overload = drive.motor, drive.suggested_overload_nm
    per_motor_turn = counts_per_motor_turn(sheet.disc)
    deg_per_count = 360 / (per_motor_turn * drive.exact_ratio)
    limits = [load.limit_nm() for load in drive.loads]
    first_to_break = weakest(limits)
    safe_speed = _sudden_stop_speed(drive, None if first_to_break is None else limits[first_to_break])
    suggested = suggested_limits(sheet, motor, drive.ratio, drive.gain, overload, safe_speed)
    stop_at, stop_nm = _sudden_stop(drive)
    working = _working_point(drive, suggested.speed_deg_s)
    fastest = motor.speed_rad_s(sheet.bridge.max_duty * highest_v(sheet), motor.no_load_current_a)
    count_rate = per_motor_turn * fastest / math.tau
    warm = winding_figures(drive, working)
    plays = backlash_by_stage_deg(sheet.mesh)
    found = Figures(
        counts_per_motor_turn=per_motor_turn,
        gear_ratio=drive.exact_ratio,
        output_sense=output_sense(sheet.mesh),
        counts_per_output_turn=per_motor_turn * drive.exact_ratio,
        deg_per_count=deg_per_count,
        count_rate_hz=per_motor_turn * sheet.motor.no_load_rpm / 60,
        highest_count_rate_hz=count_rate,
        speed_resolution=_speed_resolution(float(deg_per_count), working.speed_deg_s),
        no_load_output_deg_s=drive.no_load_deg_s,
        seconds_per_60_deg=60 / drive.no_load_deg_s,
        motor=_motor(motor),
        output_stall_torque_nm=motor.stall_torque_nm * drive.gain,
        output_max_power_w=motor.max_power_w * drive.efficiency,
        max_efficiency=motor.max_efficiency,
        train_efficiency=drive.efficiency,
        self_locking=self_locking(sheet.mesh),
        curve=_curve(drive),
        working_point=working,
        meshes=[mesh_figures(drive, load, play) for load, play in zip(drive.loads, plays, strict=True)],
        weakest_mesh=first_to_break,
        backlash_deg=backlash_deg(sheet.mesh),
        suggested_overload_nm=overload,
        suggested_overload_current_a=drive.current_a(overload),
        suggested_overload_duty=motor.volts(0.0, drive.current_a(overload)) / motor.supply_v,
        sudden_stop_torque_nm=stop_nm,
        sudden_stop_at_deg_s=stop_at,
        sudden_stop_speed_deg_s=safe_speed,
        suggested_limits=suggested,
        continuous_torque_nm=None if warm is None else drive.torque_nm(warm.continuous_current_a),
        heat=warm,
        supply=supply_figures(drive, working),
        input=input_figures(sheet, count_rate),
        pulse=pulse_figures(sheet),
        warnings=[],
        notes=[],
    )
    wrong = list(warnings(sheet, found))
    return found.model_copy(update={"warnings": wrong, "notes": [*wrong, *notes(sheet, found)]})


def _motor(motor: MotorConstants) -> MotorFigures:
    best_nm = motor.kt_nm_per_a * (motor.best_current_a - motor.no_load_current_a)
    no_load_rpm = motor.no_load_rad_s / RAD_S_PER_RPM
    return MotorFigures(
        resistance_ohm=motor.resistance_ohm,
        kt_nm_per_a=motor.kt_nm_per_a,
        stall_current_a=motor.stall_current_a,
        stall_torque_nm=motor.stall_torque_nm,
        max_power_w=motor.max_power_w,
        max_power_rpm=no_load_rpm / 2,
        max_power_torque_nm=motor.stall_torque_nm / 2,
        best_current_a=motor.best_current_a,
        best_torque_nm=best_nm,
        best_rpm=no_load_rpm * (1 - best_nm / motor.stall_torque_nm),
    )


def _speed_resolution(per_count: float, speed: float) -> SpeedResolution:
    return SpeedResolution(
        at_deg_s=speed,
        by_window_deg_s=by_window(per_count),
        by_interval_deg_s=by_interval(per_count, speed),
        interval_better_below_deg_s=interval_better_below(per_count),
    )


def _curve(drive: Drive) -> list[CurvePoint]:
    return [_curve_point(drive, step / CURVE_STEPS) for step in range(CURVE_STEPS + 1)]


def _curve_point(drive: Drive, share: float) -> CurvePoint:
    """The point at a share of the no-load speed."""
    motor = drive.motor
    torque, speed = motor.stall_torque_nm * (1 - share), motor.no_load_rad_s * share
    current, power = motor.current_a(torque), torque * speed * drive.efficiency
    return CurvePoint(
        speed_deg_s=drive.deg_s(speed),
        torque_nm=torque * drive.gain,
        current_a=current,
        power_w=power,
        efficiency=power / (motor.supply_v * current) if current > 0.0 else 0.0,
    )


def _working_point(drive: Drive, suggested_deg_s: float) -> WorkingPoint:
    sheet, motor = drive.sheet, drive.motor
    speed = sheet.limits.speed_deg_s if sheet.limits else suggested_deg_s
    torque = abs(sheet.load.gravity_nm) + sheet.load.friction_nm
    current = drive.current_a(torque)
    duty = motor.volts(drive.motor_rad_s(speed), current) / motor.supply_v
    limit = sheet.bridge.current_limit_a
    return WorkingPoint(
        speed_deg_s=speed,
        torque_nm=torque,
        current_a=current,
        duty=duty,
        electrical_w=duty * motor.supply_v * current,
        reachable=duty <= sheet.bridge.max_duty and (limit is None or current <= limit),
    )


def _sudden_stop(drive: Drive) -> tuple[float | None, float | None]:
    """The speed of the stop and the torque it makes; None where the sheet does not say enough."""
    sheet = drive.sheet
    rotor, stiffness = sheet.motor.rotor_inertia_kg_m2, sheet.load.stiffness_nm_per_deg
    if rotor is None or stiffness is None:
        return None, None
    speed = sheet.limits.speed_deg_s if sheet.limits else drive.no_load_deg_s
    return speed, sudden_stop_nm(speed, rotor, drive.ratio, stiffness)


def _sudden_stop_speed(drive: Drive, bears_nm: float | None) -> float | None:
    rotor, stiffness = drive.sheet.motor.rotor_inertia_kg_m2, drive.sheet.load.stiffness_nm_per_deg
    if rotor is None or stiffness is None or bears_nm is None:
        return None
    return sudden_stop_speed_deg_s(bears_nm, rotor, drive.ratio, stiffness)
