"""What a search answers with: trains from the first of the ranking on, each as a whole build sheet, or why there is none."""

from __future__ import annotations

import math
from typing import Any

from geartender.build.figure_models import Group
from geartender.build.files import build_document
from geartender.build.sheet import BuildSheet
from geartender.build.strength import MeshLoad, mesh_loads
from geartender.build.tables import SpurMesh
from geartender.build.tooth import velocity_factor
from geartender.build.train import gear_ratio, measures, train_efficiency
from geartender.build.trains.search import Found
from geartender.build.trains.task import Task

RULE = (
    "Fewest meshes first; then the shortest train, by the sum of its centre distances; then the fewest teeth, wheel by wheel "
    "from the output back. Each mesh has the smallest module that bears the load where it stands."
)


class TrainMesh(Group):
    """One pair of wheels, in its place."""

    driver_teeth: int
    driven_teeth: int
    module_mm: float
    face_mm: float
    """Width of the teeth."""
    centre_distance_mm: float
    driver_outside_mm: float
    driven_outside_mm: float
    """Diameter over the teeth."""
    limit_torque_nm: float
    """Torque of the output that the weaker wheel's teeth bear at the speed asked for."""


class Train(Group):
    """A train that reaches speed and torque at once, and bears it."""

    meshes: list[TrainMesh]
    """From the motor to the output."""
    gear_ratio: float
    gear_ratio_exact: str
    """As meshes and as a fraction: `58/12 × 64/12 = 232/9`."""
    centre_distances_mm: float
    """Sum of the centre distances: how long the train is when its axles stand in a row."""
    largest_wheel_mm: float
    """Diameter of the largest wheel over its teeth."""
    speed_deg_s: float
    """Speed that the motor reaches under the torque, at the bridge's highest duty."""
    current_a: float
    """What the motor then draws."""
    torque_margin: float
    """What the weakest mesh bears, as a multiple of the torque asked for."""
    weakest_mesh: int
    """The place of that mesh, counted from 0 at the motor."""
    build: dict[str, Any]
    """The given sheet with these meshes in the place of its own."""


class TrainsFound(Group):
    """The answer of a search."""

    items: list[Train]
    next: None = None
    """Always null: all that was asked for stands in `items`."""
    rule: str = RULE
    """By what the trains are ranked."""
    none_because: str | None = None
    """Which limit is in the way, when there is no train."""
    notes: list[str]
    """What was taken for granted, and what was not looked at."""


def train_of(sheet: BuildSheet, task: Task, found: Found) -> Train:
    """A train that was found, with its figures and its build sheet."""
    by_steps = dict(zip(task.modules_in_steps(), task.modules_mm, strict=True))
    wheels = zip(found.teeth, found.modules, strict=True)
    meshes = [_mesh(task, teeth, by_steps[module]) for teeth, module in wheels][::-1]
    ratio = gear_ratio(meshes)
    motor, at_motor = task.motor, task.torque_nm / (float(ratio) * train_efficiency(meshes))
    current = motor.current_a(at_motor)
    shown = [_shown(task, load, float(ratio)) for load in mesh_loads(meshes)]
    weakest = min(range(len(shown)), key=lambda i: shown[i].limit_torque_nm)
    steps = " × ".join(f"{mesh.driven_teeth}/{mesh.driver_teeth}" for mesh in meshes)
    return Train(
        meshes=shown,
        gear_ratio=float(ratio),
        gear_ratio_exact=f"{steps} = {ratio}",
        centre_distances_mm=sum(mesh.centre_distance_mm for mesh in shown),
        largest_wheel_mm=max(max(mesh.driver_outside_mm, mesh.driven_outside_mm) for mesh in shown),
        speed_deg_s=math.degrees(motor.speed_rad_s(task.max_duty * motor.supply_v, current)) / float(ratio),
        current_a=current,
        torque_margin=shown[weakest].limit_torque_nm / task.torque_nm,
        weakest_mesh=weakest,
        build=build_document(sheet.model_copy(update={"mesh": meshes})),
    )


def _mesh(task: Task, teeth: tuple[int, int], module_mm: float) -> SpurMesh:
    driver, driven = teeth
    return SpurMesh(
        kind="spur",
        driver_teeth=driver,
        driven_teeth=driven,
        module_mm=module_mm,
        face_mm=task.face_of(module_mm),
        allowable_mpa=task.allowable_mpa,
        efficiency=task.efficiency,
    )


def _shown(task: Task, load: MeshLoad, ratio: float) -> TrainMesh:
    mesh, size = load.mesh, measures(load.mesh)
    speed = load.pitch_line_m_s(task.speed_rad_s * ratio)
    assert isinstance(mesh, SpurMesh)  # noqa: S101 - made by _mesh
    assert size is not None  # noqa: S101 - _mesh gives every field
    assert speed is not None  # noqa: S101 - likewise
    assert mesh.module_mm is not None  # noqa: S101 - likewise
    assert mesh.face_mm is not None  # noqa: S101 - likewise
    limit = load.limit_nm(velocity_factor(speed))
    assert limit is not None  # noqa: S101 - never below 12 teeth
    return TrainMesh(
        driver_teeth=mesh.driver_teeth,
        driven_teeth=mesh.driven_teeth,
        module_mm=mesh.module_mm,
        face_mm=mesh.face_mm,
        centre_distance_mm=size.centre_distance,
        driver_outside_mm=size.driver_outside,
        driven_outside_mm=size.driven_outside,
        limit_torque_nm=limit,
    )
