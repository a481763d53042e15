"""What follows from the meshes alone: the ratio, exactly, the power that passes, the measures of the gears, their play."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from geartender.build.tables import SpurMesh, WormMesh
from geartender.build.worm import WormGeometry, backward_efficiency, forward_efficiency, locking_margin

AnyMesh = SpurMesh | WormMesh

# Assumed where the sheet says nothing: printed spur gears, greased, run a little worse than the 0.94 to 0.98 that handbooks
# give for cut metal. Common practice, no source.
ASSUMED_SPUR_EFFICIENCY = 0.9
# Assumed between worm and wheel: plastic on metal, greased. Common practice, no source.
ASSUMED_WORM_FRICTION = 0.1
# The teeth that the figures are for: full depth, addendum of one module, and this pressure angle.
PRESSURE_ANGLE_DEG = 20.0


def mesh_ratio(mesh: AnyMesh) -> Fraction:
    """Turns of the driver for one turn of the driven gear."""
    return Fraction(mesh.driven_teeth, mesh.driver_teeth if isinstance(mesh, SpurMesh) else mesh.starts)


def gear_ratio(meshes: Sequence[AnyMesh]) -> Fraction:
    """Turns of the motor for one turn of the output."""
    return math.prod((mesh_ratio(mesh) for mesh in meshes), start=Fraction(1))


def output_sense(meshes: Sequence[AnyMesh]) -> str | None:
    """Whether the output turns as the motor does: "same" or "opposite", each pair of outside gears turning it over.

    None behind a worm: there it depends on the hand of its thread and on the side that the wheel is on.
    """
    if any(isinstance(mesh, WormMesh) for mesh in meshes):
        return None
    return "opposite" if len(meshes) % 2 else "same"


def worm_friction(mesh: WormMesh) -> float:
    """The coefficient of friction of the sheet, or the assumed one."""
    return ASSUMED_WORM_FRICTION if mesh.friction is None else mesh.friction


def mesh_efficiency(mesh: AnyMesh) -> float:
    """Share of the power that passes a mesh, motor to output."""
    if isinstance(mesh, SpurMesh):
        return ASSUMED_SPUR_EFFICIENCY if mesh.efficiency is None else mesh.efficiency
    return forward_efficiency(mesh.lead_angle_deg, mesh.pressure_angle_deg, worm_friction(mesh))


def train_efficiency(meshes: Sequence[AnyMesh]) -> float:
    """Share of the motor's power that reaches the output."""
    return math.prod(mesh_efficiency(mesh) for mesh in meshes)


def back_efficiency(mesh: WormMesh) -> float:
    """Share of the power that passes a worm from the output to the motor; 0 or less where it locks itself."""
    return backward_efficiency(mesh.lead_angle_deg, mesh.pressure_angle_deg, worm_friction(mesh))


def self_locking_margin(mesh: WormMesh) -> float:
    """Friction of a worm as a multiple of what just locks it: from 1 on the output cannot turn it."""
    return locking_margin(mesh.lead_angle_deg, mesh.pressure_angle_deg, worm_friction(mesh))


def self_locking(meshes: Sequence[AnyMesh]) -> bool:
    """Whether a worm in the train keeps the output from turning the motor."""
    return any(isinstance(mesh, WormMesh) and self_locking_margin(mesh) >= 1.0 for mesh in meshes)


@dataclass(frozen=True, slots=True)
class Measures:
    """The measures of a mesh at its standard centre distance, in mm."""

    centre_distance: float
    driver_pitch: float
    """Pitch diameter of the driver."""
    driver_outside: float
    """Diameter of the driver over the teeth."""
    driven_outside: float
    """Diameter of the driven gear over the teeth; of a worm wheel at its middle."""


def measures(mesh: AnyMesh) -> Measures | None:
    """The measures of a mesh; None without its module. A wheel is two modules wider over the teeth than its pitch circle."""
    if mesh.module_mm is None:
        return None
    driven = mesh.module_mm * mesh.driven_teeth
    if isinstance(mesh, SpurMesh):
        driver = mesh.module_mm * mesh.driver_teeth
    else:
        driver = WormGeometry.of(mesh.module_mm, mesh.starts, mesh.driven_teeth, mesh.lead_angle_deg).worm_diameter
    over = 2 * mesh.module_mm
    return Measures((driver + driven) / 2, driver, driver + over, driven + over)


def contact_ratio(mesh: SpurMesh) -> float:
    """Pairs of teeth in contact on the average, full-depth teeth at the standard centre distance; undercut is left aside.

    (√(ra1² - rb1²) + √(ra2² - rb2²) - C · sin φ) / (π · m · cos φ), handbooks of gearing.
    """
    angle = math.radians(PRESSURE_ANGLE_DEG)
    one, two = mesh.driver_teeth / 2, mesh.driven_teeth / 2
    path = sum(math.sqrt((r + 1) ** 2 - (r * math.cos(angle)) ** 2) for r in (one, two)) - (one + two) * math.sin(angle)
    return path / (math.pi * math.cos(angle))


def undercut(mesh: SpurMesh) -> bool:
    """Whether cutting by a rack would thin the foot of one of the gears: below 2 / sin² φ, 17.1 teeth at 20°."""
    return min(mesh.driver_teeth, mesh.driven_teeth) < 2 / math.sin(math.radians(PRESSURE_ANGLE_DEG)) ** 2


def hunting(mesh: AnyMesh) -> bool:
    """Whether every tooth meets every other before a pair meets again: no common divisor. Then wear spreads evenly."""
    return math.gcd(mesh.driven_teeth, mesh.driver_teeth if isinstance(mesh, SpurMesh) else mesh.starts) == 1


def play_mm(mesh: AnyMesh) -> float | None:
    """Play at the pitch circle: what was measured, and what axles too far apart add, 2 · ΔC · tan φ. None: nothing is said."""
    if mesh.backlash_mm is None and mesh.centre_error_mm is None:
        return None
    return (mesh.backlash_mm or 0.0) + 2 * (mesh.centre_error_mm or 0.0) * math.tan(math.radians(PRESSURE_ANGLE_DEG))


def backlash_by_stage_deg(meshes: Sequence[AnyMesh]) -> list[float | None]:
    """Play that each mesh makes at the output, in degrees: at its own wheel, divided by the ratio behind it.

    None for a mesh that does not say both its play and its module.
    """
    stages: list[float | None] = []
    behind = 1.0
    for mesh in reversed(meshes):
        play = play_mm(mesh)
        if play is None or mesh.module_mm is None:
            stages.append(None)
        else:
            stages.append(math.degrees(2 * play / (mesh.module_mm * mesh.driven_teeth)) / behind)
        behind *= float(mesh_ratio(mesh))
    return stages[::-1]


def backlash_deg(meshes: Sequence[AnyMesh]) -> float | None:
    """Play at the output in degrees, of all meshes that say theirs; None where none does."""
    known = [stage for stage in backlash_by_stage_deg(meshes) if stage is not None]
    return sum(known) if known else None
