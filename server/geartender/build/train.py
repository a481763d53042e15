"""What follows from the meshes: the ratio, exactly, and the share of the power that reaches the output."""

import math
from collections.abc import Sequence
from fractions import Fraction

from geartender.build.tables import SpurMesh, WormMesh

# Assumed where the sheet says nothing: printed spur gears, greased, run a little worse than the 0.94 to 0.98 that handbooks
# give for cut metal. Common practice, no source.
ASSUMED_SPUR_EFFICIENCY = 0.9
# Assumed between worm and wheel: plastic on metal, greased. Common practice, no source.
ASSUMED_WORM_FRICTION = 0.1


def mesh_ratio(mesh: SpurMesh | WormMesh) -> Fraction:
    """Turns of the driver for one turn of the driven gear."""
    return Fraction(mesh.driven_teeth, mesh.driver_teeth if isinstance(mesh, SpurMesh) else mesh.starts)


def gear_ratio(meshes: Sequence[SpurMesh | WormMesh]) -> Fraction:
    """Turns of the motor for one turn of the output."""
    return math.prod((mesh_ratio(mesh) for mesh in meshes), start=Fraction(1))


def mesh_efficiency(mesh: SpurMesh | WormMesh) -> float:
    """Share of the power that passes a mesh, motor to output.

    For a worm (cos φ - f·tan λ) / (cos φ + f·cot λ), with the pressure angle φ in the normal plane; Mechanical Engineer's Data
    Handbook section 2.10.6.
    """
    if isinstance(mesh, SpurMesh):
        return ASSUMED_SPUR_EFFICIENCY if mesh.efficiency is None else mesh.efficiency
    friction = ASSUMED_WORM_FRICTION if mesh.friction is None else mesh.friction
    cosine, slope = math.cos(math.radians(mesh.pressure_angle_deg)), math.tan(math.radians(mesh.lead_angle_deg))
    return max((cosine - friction * slope) / (cosine + friction / slope), 0.0)


def train_efficiency(meshes: Sequence[SpurMesh | WormMesh]) -> float:
    """Share of the motor's power that reaches the output."""
    return math.prod(mesh_efficiency(mesh) for mesh in meshes)


def backlash_deg(meshes: Sequence[SpurMesh | WormMesh]) -> float | None:
    """Play at the output in degrees: each mesh's at its pitch circle, divided by the ratio behind it.

    None where no mesh says both its backlash and its module.
    """
    known = False
    total, behind = 0.0, 1.0
    for mesh in reversed(meshes):
        if mesh.backlash_mm is not None and mesh.module_mm is not None:
            known = True
            total += math.degrees(mesh.backlash_mm / (mesh.module_mm * mesh.driven_teeth / 2)) / behind
        behind *= float(mesh_ratio(mesh))
    return total if known else None
