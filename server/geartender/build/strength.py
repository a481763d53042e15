"""What each mesh of a train bears, what it is loaded with, and what a sudden stop does to it.

Torque runs from the motor to the output, and each mesh passes its share of the power. Forces are those at the pitch circle while
the motor drives. Where no published form factor stands, nothing is claimed: the strength is None, with the reason.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from geartender.build.tables import WormMesh
from geartender.build.tooth import force_limit_n, root_stress_mpa, spur_section_mm2, wheel_section_mm2
from geartender.build.train import AnyMesh, measures, mesh_efficiency, mesh_ratio, worm_friction
from geartender.build.worm import WormForces
from geartender.errors import NoStrength

MM = 1e-3


@dataclass(frozen=True, slots=True)
class MeshLoad:
    """A mesh in its place in the train: what a torque of the motor, or of the output, does to its teeth."""

    mesh: AnyMesh
    turns: float
    """Turns of the driven gear for one turn of the motor."""
    torque: float
    """Torque at the driver for 1 N·m of the motor."""
    to_output: float
    """Torque of the output for 1 N·m at the driver."""
    section_mm2: float | None
    """What bears the bending at the root of the weaker gear; None where that is not known."""
    unknown: str | None
    """Why it is not known."""

    def force_n(self, driver_nm: float) -> float | None:
        """Tangential force at the driven gear for a torque at the driver; None without the module."""
        size = measures(self.mesh)
        if size is None:
            return None
        at_driver = 2 * driver_nm / (size.driver_pitch * MM)
        if not isinstance(self.mesh, WormMesh):
            return at_driver
        lead, pressure = self.mesh.lead_angle_deg, self.mesh.pressure_angle_deg
        return WormForces.of(at_driver, lead, pressure, worm_friction(self.mesh)).wheel_tangential

    def pitch_line_m_s(self, motor_rad_s: float) -> float | None:
        """Speed of the driven gear's pitch circle at a speed of the motor; None without the module."""
        if self.mesh.module_mm is None:
            return None
        return motor_rad_s * self.turns * self.mesh.module_mm * self.mesh.driven_teeth / 2 * MM

    def stress_mpa(self, driver_nm: float, velocity: float = 1.0) -> float | None:
        """Bending stress at the root of the weaker gear for a torque at the driver."""
        force = self.force_n(driver_nm)
        if force is None or self.section_mm2 is None:
            return None
        return root_stress_mpa(force, self.section_mm2, velocity)

    def limit_nm(self, velocity: float = 1.0) -> float | None:
        """Torque of the output at which the root reaches the allowable stress."""
        per_nm = self.force_n(1.0)
        if self.mesh.allowable_mpa is None or self.section_mm2 is None or per_nm is None:
            return None
        return force_limit_n(self.mesh.allowable_mpa, self.section_mm2, velocity) / per_nm * self.to_output


def mesh_loads(meshes: Sequence[AnyMesh]) -> list[MeshLoad]:
    """Every mesh in its place, from the motor to the output."""
    gains = [float(mesh_ratio(mesh)) * mesh_efficiency(mesh) for mesh in meshes]
    loads = []
    turns = 1.0
    for i, mesh in enumerate(meshes):
        turns /= float(mesh_ratio(mesh))
        section, unknown = _section(mesh)
        loads.append(MeshLoad(mesh, turns, math.prod(gains[:i]), math.prod(gains[i:]), section, unknown))
    return loads


def _section(mesh: AnyMesh) -> tuple[float | None, str | None]:
    try:
        return root_section_mm2(mesh), None
    except NoStrength as reason:
        return None, str(reason)


def root_section_mm2(mesh: AnyMesh) -> float:
    """What bears the bending at the root of the weaker gear of a mesh: that of the fewer teeth, or the wheel of a worm.

    Raises NoStrength where the sheet lacks a measure, or where no published form factor stands.
    """
    missing = [name for name in ("module_mm", "face_mm") if getattr(mesh, name) is None]
    if mesh.module_mm is None or mesh.face_mm is None:
        raise NoStrength(f"the sheet does not give its {' and '.join(missing)}")
    if isinstance(mesh, WormMesh):
        return wheel_section_mm2(mesh.face_mm, mesh.module_mm, mesh.lead_angle_deg, mesh.pressure_angle_deg)
    return spur_section_mm2(mesh.face_mm, mesh.module_mm, min(mesh.driver_teeth, mesh.driven_teeth))


def weakest(limits: Sequence[float | None]) -> int | None:
    """Which mesh reaches its limit first, counted from 0; None where no limit is known."""
    known = [(limit, i) for i, limit in enumerate(limits) if limit is not None]
    return min(known)[1] if known else None


def sudden_stop_nm(speed_deg_s: float, rotor_kg_m2: float, ratio: float, stiffness_nm_per_deg: float) -> float:
    """Torque at the output while a train that is stopped dead winds up until the rotor stands.

    The rotor's energy goes into the train's twist: ½ · J · ratio² · w² = ½ · T² / k, so T = w · ratio · √(J · k), k per radian.
    """
    stiffness = stiffness_nm_per_deg / math.radians(1.0)
    return math.radians(speed_deg_s) * ratio * math.sqrt(rotor_kg_m2 * stiffness)


def sudden_stop_speed_deg_s(torque_nm: float, rotor_kg_m2: float, ratio: float, stiffness_nm_per_deg: float) -> float:
    """Speed of the output from which a sudden stop makes a torque: the inverse of `sudden_stop_nm`."""
    return torque_nm / sudden_stop_nm(1.0, rotor_kg_m2, ratio, stiffness_nm_per_deg)
