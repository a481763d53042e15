"""From a sheet and a request to trains, or to the reason why there is none."""

from __future__ import annotations

import math

from geartender.build.sheet import BuildSheet
from geartender.build.trains.reasons import none_because
from geartender.build.trains.request import TrainRequest
from geartender.build.trains.results import TrainsFound, train_of
from geartender.build.trains.search import Progress, best_trains
from geartender.build.trains.task import Task

MORE_TORQUE = (
    "The teeth bear the torque asked for, with a velocity factor for the speed asked for. A jam or a sudden stop makes more: "
    "see the figures of the train before you print it."
)
NOT_LOOKED_AT = (
    "Not looked at: wear, heat, whether a wheel clears the next axle, and what the axles, hubs and frame bear."
)


def nobody_looks(_: float) -> None:
    """The progress that nobody looks at."""


def find_trains(sheet: BuildSheet, request: TrainRequest, progress: Progress = nobody_looks) -> TrainsFound:
    """All trains of spur gears that reach speed and torque at once with the sheet's motor and bridge, and bear it.

    The best of them, as many as asked for, by the rule that the answer carries; complete within the ranges of the request.
    Raises BuildSheetError where neither request nor sheet says what the teeth bear.
    """
    task = Task.of(sheet, request)
    found = best_trains(task, progress)
    return TrainsFound(
        items=[train_of(sheet, task, each) for each in found],
        none_because=None if found else none_because(task),
        notes=_notes(task),
    )


def _notes(task: Task) -> list[str]:
    modules = ", ".join(f"{module:g}" for module in task.modules_mm)
    face = f"{task.face_modules:g} modules" if task.face_mm is None else f"{task.face_mm:g} mm"
    bed = "" if task.bed_mm == math.inf else f" No wheel is larger than {task.bed_mm:g} mm over its teeth."
    taken = (
        f"Taken: {task.allowable_mpa:g} MPa for the teeth, {task.efficiency:.0%} of the power through each mesh, modules "
        f"{modules} mm, teeth {face} wide, {task.fewest_teeth} to {task.most_teeth} teeth, at most {task.most_meshes} meshes.{bed}"
    )
    return [taken, MORE_TORQUE, NOT_LOOKED_AT]
