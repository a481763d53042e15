"""What follows from a build sheet by calculation: the figures that driving needs."""

from collections.abc import Iterator
from fractions import Fraction
from typing import Annotated

from pydantic import BaseModel, ConfigDict, PlainSerializer

from geartender.build.disc import counts_per_motor_turn
from geartender.build.motor import motor_constants
from geartender.build.sheet import BuildSheet
from geartender.build.suggest import SuggestedLimits, overload_nm, suggested_limits
from geartender.build.tables import SpurMesh
from geartender.build.train import ASSUMED_SPUR_EFFICIENCY, ASSUMED_WORM_FRICTION, gear_ratio, train_efficiency

DEG_S_PER_RPM = 6.0
# Above this share of the no-load speed too little voltage is left to keep a position loop stiff.
USABLE_SPEED_SHARE = 0.8

Exact = Annotated[Fraction, PlainSerializer(float, return_type=float)]


class Figures(BaseModel):
    """Figures of a build, in the units of their names. Ratios are exact here and become plain numbers in JSON."""

    model_config = ConfigDict(frozen=True, use_attribute_docstrings=True)

    counts_per_motor_turn: int
    """Counts in one turn of the motor."""
    gear_ratio: Exact
    """Turns of the motor for one turn of the output."""
    counts_per_output_turn: Exact
    """Counts in one turn of the output."""
    deg_per_count: Exact
    """Angle of the output for one count."""
    count_rate_hz: float
    """Counts per second at the motor's no-load speed."""
    no_load_output_deg_s: float
    """Speed of the output at the motor's no-load speed."""
    output_stall_torque_nm: float
    """Torque at the output with the motor stalled at the full supply. The teeth may break far below it."""
    train_efficiency: float
    """Share of the motor's power that reaches the output."""
    seconds_per_60_deg: float
    """Time for 60 degrees at no-load speed."""
    suggested_overload_nm: float
    """Torque at the output to give up at."""
    suggested_overload_current_a: float
    """Motor current at that torque."""
    suggested_limits: SuggestedLimits
    """Speed, acceleration and jerk of the output that the motor can follow with a margin."""
    notes: list[str]
    """Assumptions and cautions, in plain words."""


def figures(sheet: BuildSheet) -> Figures:
    """Compute the figures of a build sheet; it need not say enough to move."""
    motor = motor_constants(sheet.motor)
    ratio, efficiency = gear_ratio(sheet.mesh), train_efficiency(sheet.mesh)
    per_motor_turn = counts_per_motor_turn(sheet.disc)
    per_output_turn = per_motor_turn * ratio
    gain = float(ratio) * efficiency
    no_load_deg_s = sheet.motor.no_load_rpm * DEG_S_PER_RPM / float(ratio)
    overload = overload_nm(sheet, motor, gain)
    found = Figures(
        counts_per_motor_turn=per_motor_turn,
        gear_ratio=ratio,
        counts_per_output_turn=per_output_turn,
        deg_per_count=360 / per_output_turn,
        count_rate_hz=per_motor_turn * sheet.motor.no_load_rpm / 60,
        no_load_output_deg_s=no_load_deg_s,
        output_stall_torque_nm=motor.stall_torque_nm * gain,
        train_efficiency=efficiency,
        seconds_per_60_deg=60 / no_load_deg_s,
        suggested_overload_nm=overload,
        suggested_overload_current_a=motor.current_a(overload / gain),
        suggested_limits=suggested_limits(sheet, motor, float(ratio), efficiency),
        notes=[],
    )
    return found.model_copy(update={"notes": [*_assumptions(sheet), *_cautions(sheet, found)]})


def _assumptions(sheet: BuildSheet) -> Iterator[str]:
    yield "Motor figures are those of a cold winding; warm, stall torque and current are lower."
    if any(isinstance(mesh, SpurMesh) and mesh.efficiency is None for mesh in sheet.mesh):
        yield f"Spur meshes without an efficiency are taken to pass {ASSUMED_SPUR_EFFICIENCY:.0%} of the power."
    if any(not isinstance(mesh, SpurMesh) and mesh.friction is None for mesh in sheet.mesh):
        yield f"Worms without a friction are taken to have {ASSUMED_WORM_FRICTION:g}."
    if sheet.motor.rotor_inertia_kg_m2 is None:
        yield "Without rotor_inertia_kg_m2 the suggested acceleration ignores the rotor, most of the inertia in a geared drive."
    if "load" not in sheet.model_fields_set:
        yield "Without [load] the suggested limits take the output as free."


def _cautions(sheet: BuildSheet, found: Figures) -> Iterator[str]:
    yield "The suggested overload follows from the motor alone. Go lower where the teeth or what they move are weaker."
    overload = sheet.overload.torque_nm or found.suggested_overload_nm
    static = abs(sheet.load.gravity_nm) + sheet.load.friction_nm
    if static >= overload:
        yield f"The load alone ({static:.3g} N·m) reaches the overload torque ({overload:.3g} N·m): it will not move."
    if overload > found.output_stall_torque_nm:
        yield f"The overload torque ({overload:.3g} N·m) is above the stall torque: only a standstill will be noticed."
    usable = USABLE_SPEED_SHARE * sheet.bridge.max_duty * found.no_load_output_deg_s
    if sheet.limits and sheet.limits.speed_deg_s > usable:
        yield f"limits.speed_deg_s ({sheet.limits.speed_deg_s:g}) is more than the motor can keep up with a margin ({usable:.3g})."
    if sheet.missing_to_move:
        yield f"To move it also needs {', '.join(f'[{name}]' for name in sheet.missing_to_move)}."
