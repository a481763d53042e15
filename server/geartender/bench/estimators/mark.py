"""The home mark passed both ways: its width, and the play of the train by the count at the same edge."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from geartender.bench.estimators.fit import Value, mean
from geartender.bench.estimators.record import Record


@dataclass(frozen=True, slots=True)
class Passage:
    """An edge of the mark: the count at which it was seen, the way the disc turned, and whether the mark began there."""

    count: float
    way: int
    entered: bool


def passages(record: Record) -> list[Passage]:
    """All edges of the mark that were passed."""
    found = []
    for at in np.flatnonzero(np.diff(record.mark.astype(int)) != 0) + 1:
        before = int(record.count[max(int(at) - 50, 0)])
        after = int(record.count[min(int(at) + 50, len(record.count) - 1)])
        if after != before:
            found.append(Passage(float(record.count[at]) + 0.5, 1 if after > before else -1, bool(record.mark[at])))
    return found


def near_edge(found: Sequence[Passage], seek: int) -> tuple[list[float], list[float]]:
    """Counts at which the edge that homing looks for was passed the way homing goes, and back."""
    there = [one.count for one in found if one.way == seek and one.entered]
    back = [one.count for one in found if one.way == -seek and not one.entered]
    return there, back


def play(found: Sequence[Passage], seek: int) -> Value | None:
    """Counts between the places where that edge was passed the one way and the other; None with too few."""
    pairs = [(b - a) * -seek for a, b in zip(*near_edge(found, seek), strict=False)]
    if not pairs:
        return None
    value = mean(pairs) if len(pairs) > 1 else Value(pairs[0], 0.5)
    return Value(value.value, max(value.uncertainty, 0.3))


def width(found: Sequence[Passage]) -> Value | None:
    """Counts from one edge of the mark to the other, each way by itself, since the play lies between the ways; None without any."""
    widths = [
        abs(other.count - one.count)
        for one, other in itertools.pairwise(found)
        if one.way == other.way and one.entered and not other.entered
    ]
    if not widths:
        return None
    # an edge lies anywhere in its count
    return Value(float(np.mean(widths)), max(float(np.std(widths)), math.sqrt(2 / 12 / len(widths))))
