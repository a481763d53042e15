"""The groups of figures: each mesh, the winding's warmth, the supply, the input pins, the RC pulse."""

from __future__ import annotations

import math
from typing import Literal

from geartender.build import duty, heat, pin
from geartender.build.battery import hours, rated_current_a
from geartender.build.drive import Drive
from geartender.build.figure_models import (
    HeatFigures,
    InputFigures,
    MeshFigures,
    Periodic,
    PulseFigures,
    PulsePoint,
    ShortTime,
    SupplyFigures,
    Warming,
    WarmPoint,
    WorkingPoint,
)
from geartender.build.pulse import PulseScale
from geartender.build.sheet import BuildSheet
from geartender.build.strength import MeshLoad
from geartender.build.tables import SpurMesh, Supply, WormMesh
from geartender.build.train import (
    back_efficiency,
    contact_ratio,
    hunting,
    measures,
    mesh_efficiency,
    mesh_ratio,
    self_locking_margin,
    undercut,
)
from geartender.build.worm import sliding_speed

WARMING_STEPS = 40
# The picture of the warming shows this many time constants: by then 95 % of the way is made.
WARMING_TIMES = 3.0
# ... and no more than this multiple of the highest temperature: beyond it the winding is gone.
HOTTEST_SHOWN = 2.0


def mesh_figures(drive: Drive, load: MeshLoad, play_deg: float | None) -> MeshFigures:
    """The figures of a mesh in its place; `play_deg` is its part of the play at the output."""
    mesh, size, velocity = load.mesh, measures(load.mesh), drive.velocity_factor(load)
    stalled, overload = drive.motor.stall_torque_nm * load.torque, drive.overload_nm / load.to_output
    worm = mesh if isinstance(mesh, WormMesh) else None
    spur = mesh if isinstance(mesh, SpurMesh) else None
    margin = self_locking_margin(worm) if worm else None
    return MeshFigures(
        kind=mesh.kind,
        ratio=mesh_ratio(mesh),
        efficiency=mesh_efficiency(mesh),
        back_efficiency=back_efficiency(worm) if worm else None,
        self_locking=margin is not None and margin >= 1.0,
        self_locking_margin=margin,
        centre_distance_mm=size and size.centre_distance,
        driver_outside_mm=size and size.driver_outside,
        driven_outside_mm=size and size.driven_outside,
        contact_ratio=contact_ratio(spur) if spur else None,
        undercut=undercut(spur) if spur else None,
        hunting=hunting(mesh),
        backlash_deg=play_deg,
        pitch_line_m_s=load.pitch_line_m_s(drive.motor.no_load_rad_s),
        sliding_m_s=_sliding_m_s(drive, load),
        velocity_factor=velocity,
        tooth_force_n=load.force_n(stalled),
        root_stress_mpa=load.stress_mpa(stalled),
        overload_force_n=load.force_n(overload),
        overload_stress_mpa=load.stress_mpa(overload, velocity or 1.0),
        allowable_mpa=mesh.allowable_mpa,
        limit_torque_nm=load.limit_nm(),
        no_strength=load.unknown or (None if mesh.allowable_mpa else "the sheet does not give its allowable_mpa"),
    )


def _sliding_m_s(drive: Drive, load: MeshLoad) -> float | None:
    size = measures(load.mesh)
    if size is None or not isinstance(load.mesh, WormMesh):
        return None
    worm_rad_s = drive.motor.no_load_rad_s * load.turns * float(mesh_ratio(load.mesh))
    return sliding_speed(worm_rad_s * size.driver_pitch / 2000, load.mesh.lead_angle_deg)


def winding_figures(drive: Drive, working: WorkingPoint) -> HeatFigures | None:
    """How warm the winding gets; None where the sheet says too little."""
    motor, constants = drive.sheet.motor, drive.motor
    if motor.max_winding_c is None or motor.thermal_k_per_w is None:
        return None
    time, limit = motor.thermal_time_s, motor.max_winding_c
    winding = heat.Winding(constants.resistance_ohm, motor.thermal_k_per_w, motor.ambient_c, time)
    continuous = winding.continuous_a(limit)

    def rated(loss_factor: float) -> dict[str, float]:
        """Current and torque at a multiple of the continuous loss, at most those of a stall."""
        current = min(continuous * math.sqrt(loss_factor), constants.stall_current_a)
        return {"current_a": current, "torque_nm": drive.torque_nm(current)}

    return HeatFigures(
        ambient_c=motor.ambient_c,
        max_winding_c=limit,
        continuous_current_a=continuous,
        runaway_current_a=winding.runaway_a,
        s2=[_short_time(on, rated(duty.short_time_factor(on, time))) for on in duty.SHORT_TIMES_S] if time else [],
        s3=[_periodic(share, rated(1 / _peak(share, time))) for share in duty.CYCLIC_FACTORS] if time else [],
        warming=[
            _warming(winding, limit, "working", working.current_a),
            _warming(winding, limit, "overload", min(drive.current_a(drive.overload_nm), constants.stall_current_a)),
            _warming(winding, limit, "stall", constants.stall_current_a),
        ],
    )


def _short_time(on_s: float, load: dict[str, float]) -> ShortTime:
    return ShortTime(duty_type=duty.short_time_name(on_s), for_s=on_s, **load)


def _periodic(share: float, load: dict[str, float]) -> Periodic:
    return Periodic(duty_type=duty.periodic_name(share), cyclic_factor=share, **load)


def _peak(share: float, time_s: float) -> float:
    return duty.periodic_peak(share * duty.CYCLE_S, (1 - share) * duty.CYCLE_S, time_s)


def _warming(
    winding: heat.Winding, limit_c: float, load: Literal["working", "overload", "stall"], current: float
) -> Warming:
    """The way of the winding's temperature, as far as it is worth a picture."""
    points, seconds = [], None
    if winding.time_s is not None:
        seconds = winding.seconds_to(limit_c, current)
        gone = winding.seconds_to(HOTTEST_SHOWN * limit_c, current)
        last = min(WARMING_TIMES * winding.time_s, math.inf if gone is None else gone)
        times = [last * step / WARMING_STEPS for step in range(WARMING_STEPS + 1)]
        points = [WarmPoint(t_s=t, winding_c=winding.after_c(current, t)) for t in times]
    return Warming(
        load=load, current_a=current, for_ever_c=winding.for_ever_c(current), seconds_to_limit=seconds, points=points
    )


def highest_v(sheet: BuildSheet) -> float:
    """The highest voltage that the supply ever has."""
    return sheet.supply.highest_v or sheet.motor.supply_v


def supply_figures(drive: Drive, working: WorkingPoint) -> SupplyFigures:
    """What supply, bridge and wiring must carry, and how long a battery lasts."""
    sheet, supply = drive.sheet, drive.sheet.supply
    resistance = supply.resistance_ohm
    stall = highest_v(sheet) / (drive.motor.resistance_ohm + (resistance or 0.0))
    carry = stall if sheet.bridge.current_limit_a is None else min(stall, sheet.bridge.current_limit_a)
    standby = supply.standby_w / sheet.motor.supply_v
    running = working.duty * working.current_a + standby
    rated = None
    if supply.kind == "battery" and supply.capacity_ah is not None:
        rated = rated_current_a(supply.capacity_ah, supply.rated_hours)
    return SupplyFigures(
        stall_current_a=stall,
        carry_current_a=carry,
        working_current_a=running,
        standby_current_a=standby,
        stall_sag_v=None if resistance is None else carry * resistance,
        working_sag_v=None if resistance is None else running * resistance,
        rated_current_a=rated,
        working_hours=_lasts(supply, running),
        standby_hours=_lasts(supply, standby),
    )


def _lasts(supply: Supply, current: float) -> float | None:
    if supply.kind != "battery" or supply.capacity_ah is None or current <= 0.0:
        return None
    return hours(supply.capacity_ah, supply.rated_hours, current, supply.peukert_exponent)


def input_figures(sheet: BuildSheet, count_rate_hz: float) -> InputFigures | None:
    """What a sensor becomes at the pin; None without an [input]."""
    circuit = sheet.input
    if circuit is None:
        return None
    found = pin.levels(circuit)
    least, most = pin.least_high_v(circuit.logic_v), pin.most_low_v(circuit.logic_v)
    edges = pin.edge_times(circuit) if circuit.capacitor_f else None
    count = 1 / count_rate_hz if count_rate_hz > 0.0 else None
    return InputFigures(
        high_v=found and found.high_v,
        low_v=found and found.low_v,
        clamp_current_ma=found and found.clamp_current_ma,
        clamp_mw=found and found.clamp_mw,
        series_mw=found and found.series_mw,
        high_ok=found is not None and least <= found.high_v <= circuit.logic_v,
        low_ok=found is not None and found.low_v <= most,
        high_margin_v=found and found.high_v - least,
        low_margin_v=found and most - found.low_v,
        rise_s=edges and edges.rise_s,
        fall_s=edges and edges.fall_s,
        count_s=count,
        edges_ok=edges and _quick(edges, count),
    )


def _quick(edges: pin.EdgeTimes, count_s: float | None) -> bool:
    if edges.rise_s is None or edges.fall_s is None:
        return False
    return count_s is None or max(edges.rise_s, edges.fall_s) <= count_s


def pulse_figures(sheet: BuildSheet) -> PulseFigures | None:
    """The RC pulse; None without a [pulse], or where nothing says what its ends mean."""
    scale = PulseScale.of(sheet.pulse, sheet.travel) if sheet.pulse else None
    if scale is None:
        return None
    points = [PulsePoint(width_us=us, angle_deg=deg) for us, deg in zip(scale.widths_us, scale.angles_deg, strict=True)]
    first, last = points[0], points[-1]
    return PulseFigures(points=points, us_per_deg=(last.width_us - first.width_us) / (last.angle_deg - first.angle_deg))
