"""Which pairs of wheels can stand in a place of the train, and how small their module may be there.

A place is counted from the output: the last mesh stands in place 1. `behind` is the ratio from its driven wheel to the output.
With q the place, the force on the teeth is F = 2·T / (m·z·behind·η^q), z being the teeth of the driven wheel, and force times
pitch-line speed is the power T·w / η^q, whatever the wheels are. So Kv·F = F + T·w / (6.1·η^q) falls as `behind` rises, and each
module has a least `behind` from which on it bears: what `MeshLoad` computes for a known train, turned round.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from geartender.build.strength import MM
from geartender.build.tooth import BARTH_M_S, form_factor
from geartender.build.trains.task import SPARE, Task


@dataclass(frozen=True, slots=True)
class Pair:
    """Two wheels that may mesh in a place of the train."""

    teeth: tuple[int, int]
    """Of the driver and the driven wheel."""
    size: int
    """Teeth of both: the centre distance is half of it in modules."""
    ratio: float
    gates: tuple[tuple[float, int], ...]
    """The least `behind` with which each module bears, and the module in steps; from the smallest module on."""

    def module(self, behind: float) -> int | None:
        """The smallest module that bears, in steps; None where none does."""
        for least, module in self.gates:
            if behind >= least:
                return module
        return None


def pairs_in_place(task: Task, place: int, low: float, high: float) -> list[Pair]:
    """All pairs that bear in a place with some `behind` from low to high, and can be printed; the smallest first."""
    stage = _Stage(task, place, low, high)
    found = []
    for driver, driven in stage.teeth():
        gates = tuple(stage.gates(driver, driven))
        if gates:
            found.append(Pair((driver, driven), driver + driven, driven / driver, gates))
    return sorted(found, key=lambda pair: (pair.size, pair.teeth))


class _Stage:
    """A place of the train, with what does not depend on its wheels."""

    def __init__(self, task: Task, place: int, low: float, high: float) -> None:
        self._task, self._low, self._high = task, low, high
        passed = task.efficiency**place
        self._force_mm = 2 * task.torque_nm / (MM * passed)
        self._dynamic_n = task.torque_nm * task.speed_rad_s / passed / BARTH_M_S
        trusted = task.allowable_mpa * (1 - SPARE)
        self._modules = [
            (module, steps, trusted * task.face_of(module) * module)
            for module, steps in zip(task.modules_mm, task.modules_in_steps(), strict=True)
        ]
        self._forms = {teeth: form_factor(teeth) for teeth in self._range()}

    def _range(self) -> range:
        return range(self._task.fewest_teeth, self._task.most_teeth + 1)

    def teeth(self) -> Iterator[tuple[int, int]]:
        """Every driver with every driven wheel."""
        return ((driver, driven) for driver in self._range() for driven in self._range())

    def gates(self, driver: int, driven: int) -> Iterator[tuple[float, int]]:
        """The modules that can matter to a pair, with the least `behind` of each."""
        form, across = self._forms[min(driver, driven)], max(driver, driven) + 2
        for module, steps, section in self._modules:
            if module * across > self._task.bed_mm:
                return
            bears = section * form - self._dynamic_n
            least = self._force_mm / (driven * module * bears) if bears > 0.0 else math.inf
            if least <= self._high:
                yield least, steps
            if least <= self._low:
                return
