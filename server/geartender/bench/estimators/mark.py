"""The home mark passed both ways: its width, and the play of the train by the count at the same edge."""

from __future__ import annotations

import itertools
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


def play(found: Sequence[Passage], seek: int) -> Value | None:
    """Counts between the places where the edge that homing looks for was passed the one way and the other; None with too few."""
    there = [one.count for one in found if one.way == seek and one.entered]
    back = [one.count for one in found if one.way == -seek and not one.entered]
    pairs = [(b - a) * -seek for a, b in zip(there, back, strict=False)]
    if not pairs:
        return None
    value = mean(pairs) if len(pairs) > 1 else Value(pairs[0], 0.5)
    return Value(value.value, max(value.uncertainty, 0.3))


def width(found: Sequence[Passage], seek: int) -> Value | None:
    """Counts from the mark's near edge to its far one, passed one way; None where the far one was not reached."""
    widths = []
    for one, other in itertools.pairwise(found):
        if one.way == other.way == seek and one.entered and not other.entered:
            widths.append(abs(other.count - one.count))
    if not widths:
        return None
    return Value(float(np.mean(widths)), max(float(np.std(widths)), 0.4))
