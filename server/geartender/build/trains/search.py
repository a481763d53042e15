"""The search itself: from the output to the motor, most promising wheels first, with all left out that cannot be among the best.

Complete within its ranges: what is left out is out of reach, or is longer than the longest of the trains asked for. Its memory
is that of the pairs and bounds of one number of meshes, and of the trains kept.
"""

from __future__ import annotations

from bisect import insort
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import takewhile
from typing import NamedTuple

from geartender.build.trains.bound import (
    OUT_OF_REACH,
    Bound,
    bound_at_motor,
    bound_before,
    by_cells_onward,
    cells_onward,
)
from geartender.build.trains.task import SPARE, Task
from geartender.build.trains.wheels import Pair, pairs_in_place

WEIGHT = 8
"""How many times as long a search takes with one more mesh, roughly: only the shown progress rests on it."""

Progress = Callable[[float], None]
"""Called often, with the share of the search that is done, 0 to 1."""


class Found(NamedTuple):
    """A train, in the order of the ranking."""

    size: int
    """Sum of module times teeth of all wheels, in steps of the module: twice the sum of the centre distances."""
    teeth: tuple[tuple[int, int], ...]
    """Of driver and driven wheel, from the output back to the motor."""
    modules: tuple[int, ...]
    """In steps, in the same order."""


@dataclass(frozen=True, slots=True)
class _Place:
    """A place of the train, counted from the output; the one after the last is the motor's."""

    low: float
    high: float
    """What the ratio behind it may be, so that the whole train can still come out right."""
    pairs: Mapping[int, list[Pair]]
    """By how many cells of the bound they lead onward, the smallest of each first."""
    rest: Bound
    """How little this mesh and all that follow it can measure."""


class Search:
    """A search for trains of one number of meshes; `best` grows to the trains asked for, the first of the ranking."""

    def __init__(self, task: Task, meshes: int, progress: Progress) -> None:
        self._task, self._meshes, self._progress = task, meshes, progress
        self._finest = task.modules_in_steps()[0]
        self._places = _places(task, meshes)
        self._wheels: list[tuple[tuple[int, int], int]] = []
        self.best: list[Found] = []
        self.looked_at = 0
        """Partial trains that were gone into: what the search costs."""

    def run(self) -> list[Found]:
        """The best trains, the first of the ranking first."""
        if self._places:
            self._from(1, 1, 0, 0.0, 1.0)
        return self.best

    @property
    def _longest(self) -> int:
        """What a train may measure at most to be among the best."""
        return self.best[-1].size if len(self.best) == self._task.most else OUT_OF_REACH - 1

    def _beaten(self, least: int, teeth: tuple[int, int]) -> bool:
        """Whether the train so far, with a next mesh that makes it measure at least that much, comes behind all that are kept."""
        if len(self.best) < self._task.most:
            return False
        so_far = tuple(each for each, _ in self._wheels)
        return (least, (*so_far, teeth)) > self.best[-1][:2]

    def _from(self, driven: int, driver: int, size: int, done: float, share: float) -> None:
        """Go into every next mesh; `driven` and `driver` are the products of the teeth so far, the ratio behind."""
        self.looked_at += 1
        self._progress(done)
        if len(self._wheels) == self._meshes:
            self._keep(driven / driver, size)
            return
        nexts = sorted(self._nexts(driven, driver, size))
        for i, (least, teeth, module) in enumerate(nexts):
            if self._beaten(least, teeth):
                return
            self._wheels.append((teeth, module))
            more = module * sum(teeth)
            self._from(
                driven * teeth[1], driver * teeth[0], size + more, done + share * i / len(nexts), share / len(nexts)
            )
            self._wheels.pop()

    def _nexts(self, driven: int, driver: int, size: int) -> Iterator[tuple[int, tuple[int, int], int]]:
        """What can be the next mesh: how little the train then measures, its teeth, its module."""
        after, behind, longest = self._places[len(self._wheels) + 1], driven / driver, self._longest
        for pair in self._pairs_between(after.low / behind, after.high / behind, longest - size):
            module = pair.module(behind)
            ratio = driven * pair.teeth[1] / (driver * pair.teeth[0])
            if module is None or not after.low <= ratio <= after.high:
                continue
            least = size + module * pair.size + after.rest.at(ratio)
            if least <= longest:
                yield least, pair.teeth, module

    def _pairs_between(self, low: float, high: float, longest: int) -> Iterator[Pair]:
        """The pairs of the next place with a ratio from low to high, and perhaps a few beside, up to a size in steps."""
        pairs = self._places[len(self._wheels)].pairs
        for onward in range(cells_onward(low * (1 - SPARE)), cells_onward(high * (1 + SPARE)) + 1):
            yield from takewhile(lambda pair: self._finest * pair.size <= longest, pairs.get(onward, ()))

    def _keep(self, ratio: float, size: int) -> None:
        if self._task.reaches(ratio, self._meshes):
            teeth, modules = zip(*self._wheels, strict=True)
            insort(self.best, Found(size, teeth, modules))
            del self.best[self._task.most :]


def best_trains(task: Task, progress: Progress) -> list[Found]:
    """The best trains of any number of meshes, the fewest meshes first; at most as many as the task asks for."""
    found: list[Found] = []
    for meshes in range(1, task.most_meshes + 1):
        rest = replace(task, most=task.most - len(found))
        found += Search(rest, meshes, _part(progress, meshes, task.most_meshes)).run()
        if len(found) == task.most:
            break
    return found


def _part(progress: Progress, meshes: int, most: int) -> Progress:
    """The progress of a search as a part of the whole: each further mesh takes several times as long."""
    return lambda share: progress(WEIGHT ** (meshes - most - 1) * (1 + (WEIGHT - 1) * share))


def _places(task: Task, meshes: int) -> list[_Place]:
    """All places from the output to the motor; none where no train of so many meshes comes out right."""
    wanted = task.ratios(meshes)
    if wanted is None:
        return []
    low, high = wanted
    rest = bound_at_motor(low)
    places = [_Place(low, high, {}, rest)]
    step = task.highest_step
    for place in range(meshes, 0, -1):
        left = step ** (meshes - place + 1) * (1 + SPARE)
        reach = step ** (place - 1) * (1 + SPARE)
        at_least, at_most = max(low / left, 1 / reach), min(high * left, reach)
        if at_least > at_most:
            return []
        pairs = by_cells_onward(pairs_in_place(task, place, at_least, at_most))
        rest = bound_before(rest, pairs, at_least, at_most)
        places.append(_Place(at_least, at_most, pairs, rest))
    return places[::-1]
