"""The voltage at which a drive at rest breaks away, from one that grew until it turned.

Once loose at a voltage V0, a motor with constant Ke and mechanical time constant T turns as w' = ((V - V0) / Ke - w) / T says. What
it did before, such as winding up the train count by count, is slower than that. So the start is the moment, and the count, from
which on the edges came as this says, by least squares over the first few of them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from geartender.bench.estimators.fit import Value
from geartender.bench.estimators.record import Floats, Record

EDGES = 7
"""Edges of the disc after the start that it is told by."""

WOUND = 8
"""Counts at most by which it winds up the train before it breaks away."""

EARLIEST_S = 1.0
"""s before the first edge at which it may have started."""


@dataclass(frozen=True, slots=True)
class Loose:
    """How a drive turns that has broken loose."""

    ke_v_s: float
    time_constant_s: float
    rad_per_count: float

    def counts(self, excess_v: Floats, step_s: float) -> Floats:
        """Counts turned at each sample, from rest at the first, under voltages beyond that of the start."""
        stays = np.exp(-step_s / self.time_constant_s)
        kernel = (1 - stays) / self.ke_v_s * stays ** np.arange(len(excess_v))
        speed = np.append(0.0, np.convolve(excess_v, kernel)[: len(excess_v) - 1])
        return np.asarray(np.cumsum(speed) * step_s / self.rad_per_count)


def volts_at_start(record: Record, way: int, loose: Loose) -> Value:
    """The voltage of the moment at which it broke away. Raises ValueError where it turned by too little."""
    driven = np.flatnonzero(record.duty != 0.0)
    if len(driven) < EDGES:
        raise ValueError("it was not driven")
    part = record.part(int(driven[0]), int(driven[-1]) + 1)
    volts = part.volts * way
    moved = np.maximum.accumulate((part.count - part.count[0]) * way)
    edges = np.array([int(np.argmax(moved >= count)) for count in range(1, min(int(moved[-1]), EDGES + WOUND) + 1)])
    if len(edges) < EDGES:
        raise ValueError("it turned by too few counts")
    earliest = max(int(edges[0]) - round(EARLIEST_S / record.step_s), 0)
    best, start = np.inf, 0
    for at in range(earliest, int(edges[-EDGES])):
        turned = loose.counts(volts[at : edges[-1] + 1] - volts[at], record.step_s)
        first = int(np.searchsorted(edges, at, side="right"))
        seen = edges[first : first + EDGES]
        off = turned[seen - at] - np.arange(1, EDGES + 1)
        # it stood anywhere in its count
        spread = float(np.sqrt(np.mean((off - np.clip(np.mean(off), -1.0, 0.0)) ** 2)))
        if spread < best:
            best, start = spread, at
    first = int(edges[int(np.searchsorted(edges, start, side="right"))])
    # by where in its count it stood, the first edge came earlier or later
    return Value(float(volts[start]), float(volts[first] - volts[start]) / 2 / math.sqrt(12))
