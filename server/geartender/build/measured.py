"""What the bench found on the very servo, and the sheet as it was built by that. Pure.

Where a value is there, it takes the place of the one that the sheet gives or that is computed from it.
"""

from __future__ import annotations

import math
from datetime import datetime
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field

from geartender.build.motor import RAD_S_PER_RPM, motor_constants
from geartender.build.sheet import BuildSheet
from geartender.build.tables import WormMesh
from geartender.build.train import AnyMesh, gear_ratio, mesh_efficiency, train_efficiency
from geartender.build.worm import friction_at

LEAST_FRICTION_SHARE = 0.1
"""Share of the measured friction that is the motor's own at least, when the sheet's load would take all of it."""
LEAST_EFFICIENCY = 0.05
"""Of a mesh: below, the measurement was wrong."""
PLAY_MAX_MM = 20.0
"""What a sheet takes as play of a mesh."""


class _Shape(BaseModel):
    model_config = ConfigDict(extra="forbid", allow_inf_nan=False, frozen=True)


class Found(_Shape):
    """A value that was measured."""

    value: float = Field(description="In the unit that its name ends with.")
    uncertainty: float = Field(ge=0, description="Standard uncertainty (one sigma), same unit.")
    procedure: str = Field(default="", max_length=40, description="Which procedure found it.")
    run: str = Field(default="", max_length=40, description="The run of the bench that found it.")
    at: datetime | None = Field(default=None, description="When, UTC.")


class Tuning(_Shape):
    """Gains of the control loop, in units of the motor's shaft."""

    kp_v_per_count: Annotated[float, Field(gt=0, le=60)]
    ki_v_per_count_s: Annotated[float, Field(ge=0, le=10_000)]
    damping: Annotated[float, Field(ge=0, le=8)] = Field(description="Volts for a volt of back-EMF that is missing.")
    knob: Annotated[float, Field(ge=0, le=1)] = Field(default=0.5, description="0 calm, 1 quick.")
    ms: float | None = Field(default=None, description="Largest sensitivity of the loop on the identified model.")


class Measured(_Shape):
    """What the bench found on this servo; where a value is there, it replaces the computed one."""

    values: dict[str, Found] = Field(
        default_factory=dict, description="By name; the unit stands at the end of the name."
    )
    magnets: list[float] = Field(
        default_factory=list,
        max_length=4096,
        description="Counts that each edge of the disc lies off its even place, from the edge below the raw count 0.",
    )
    torque_map: list[dict[str, float]] = Field(
        default_factory=list,
        max_length=2000,
        description="Running torque by angle: `deg`, `up_nm`, `down_nm`, `spread_nm`.",
    )
    tuning: Tuning | None = None
    note: str = Field(default="", max_length=4000)
    version: Literal[1] = 1

    def value(self, name: str) -> float | None:
        """A value by its name, or None where nobody has measured it."""
        found = self.values.get(name)
        return None if found is None else found.value


NOTHING = Measured()


def as_built(sheet: BuildSheet, measured: Measured) -> BuildSheet:
    """The sheet with what was measured in the places of what was designed. Values that the sheet cannot hold are left out."""
    changes: dict[str, Any] = {}
    changes |= _motor(sheet, measured)
    meshes = _meshes(sheet, measured)
    if meshes != sheet.mesh:
        changes["mesh"] = meshes
    load = _load(measured, meshes)
    if load:
        changes["load"] = sheet.load.model_copy(update=load)
    ohm = measured.value("supply_ohm")
    if ohm is not None:
        changes["supply"] = sheet.supply.model_copy(update={"resistance_ohm": max(ohm, 0.0)})
    overload = measured.value("overload_nm")
    if overload:
        changes["overload"] = sheet.overload.model_copy(update={"torque_nm": overload})
    return sheet.model_copy(update=changes) if changes else sheet


def _motor(sheet: BuildSheet, measured: Measured) -> dict[str, Any]:
    """The motor's line through the measured constants, at the sheet's supply."""
    designed = motor_constants(sheet.motor)
    ke = measured.value("ke_v_s") or designed.kt_nm_per_a
    ohm = measured.value("winding_ohm") or designed.resistance_ohm
    friction = measured.value("friction_nm")
    own = designed.friction_nm
    if friction is not None:
        load = sheet.load.friction_nm / (float(gear_ratio(sheet.mesh)) * max(train_efficiency(sheet.mesh), 0.05))
        own = max(friction - load, LEAST_FRICTION_SHARE * friction)
    if not {"ke_v_s", "winding_ohm", "friction_nm", "rotor_inertia_kg_m2"} & set(measured.values):
        return {}
    current = own / ke
    volts = sheet.motor.supply_v
    if (
        current * ohm >= 0.9 * volts
    ):  # no motor turns so; a mistake of the measurement must not make a sheet of nonsense
        return {}
    update = {
        "winding_ohm": ohm,
        "stall_current_a": None,
        "stall_torque_nm": None,
        "no_load_current_a": current,
        "no_load_rpm": (volts - current * ohm) / ke / RAD_S_PER_RPM,
    }
    rotor = measured.value("rotor_inertia_kg_m2")
    if rotor:
        update["rotor_inertia_kg_m2"] = rotor
    return {"motor": sheet.motor.model_copy(update=update)}


def _load(measured: Measured, meshes: list[AnyMesh]) -> dict[str, float]:
    """The train's stiffness, and the load's inertia: what all of it at the motor's shaft leaves beside the rotor's."""
    update = {}
    stiffness = measured.value("stiffness_nm_per_deg")
    if stiffness:
        update["stiffness_nm_per_deg"] = stiffness
    whole, rotor = measured.value("inertia_kg_m2"), measured.value("rotor_inertia_kg_m2")
    if whole and rotor:
        ratio = float(gear_ratio(meshes))
        update["inertia_kg_m2"] = (
            max(whole - rotor, 0.0) * ratio * ratio * max(train_efficiency(meshes), LEAST_EFFICIENCY)
        )
    return update


def _meshes(sheet: BuildSheet, measured: Measured) -> list[AnyMesh]:
    """The train with the play and the efficiency that were measured, both in its last mesh that can hold them."""
    meshes = list(sheet.mesh)
    backlash, efficiency = measured.value("backlash_deg"), measured.value("train_efficiency")
    if backlash is not None:
        meshes = _with_play(meshes, backlash)
    if efficiency is not None:
        meshes = _with_efficiency(meshes, efficiency)
    return meshes


def _with_play(meshes: list[AnyMesh], backlash_deg: float) -> list[AnyMesh]:
    """All of the play in the last mesh; as they were where that mesh does not say its module."""
    last = meshes[-1]
    if last.module_mm is None:
        return meshes
    play = math.radians(backlash_deg) * last.module_mm * last.driven_teeth / 2
    if play > PLAY_MAX_MM:
        return meshes
    others = [
        mesh
        if mesh.backlash_mm is None and mesh.centre_error_mm is None
        else mesh.model_copy(update={"backlash_mm": 0.0, "centre_error_mm": None})
        for mesh in meshes[:-1]
    ]
    return [*others, last.model_copy(update={"backlash_mm": play, "centre_error_mm": None})]


def _with_efficiency(meshes: list[AnyMesh], efficiency: float) -> list[AnyMesh]:
    """The whole train's efficiency, by the friction of its last worm, which nobody knows, or else by that of its last mesh.

    As they were where no mesh can be so good or so bad.
    """
    at = max((n for n, mesh in enumerate(meshes) if isinstance(mesh, WormMesh)), default=len(meshes) - 1)
    mesh = meshes[at]
    wanted = efficiency * mesh_efficiency(mesh) / train_efficiency(meshes)
    if not LEAST_EFFICIENCY <= wanted < 1.0:
        return meshes
    if isinstance(mesh, WormMesh):
        update = {"friction": friction_at(mesh.lead_angle_deg, mesh.pressure_angle_deg, wanted)}
    else:
        update = {"efficiency": wanted}
    return [*meshes[:at], mesh.model_copy(update=update), *meshes[at + 1 :]]
