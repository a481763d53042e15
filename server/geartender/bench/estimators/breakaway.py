"""The voltage at which a drive at rest breaks away, from one that grew slowly until it turned.

Once loose, a motor with constant Ke and mechanical time constant T under a voltage that grows by s volts a second turns by
x(t) = s / Ke · (t²/2 - T·t + T²·(1 - exp(-t/T))). What it did before, such as winding up the train count by count, is slower than
that; so the beginning is the count from which on the edges came as this says.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geartender.bench.estimators.fit import Value
from geartender.bench.estimators.record import Floats, Record

EDGES = 7
"""Edges of the disc after the beginning that it is told by."""

STARTS = np.linspace(0.05, 0.95, 19)
"""Where in its count the disc may stand before it turns."""

LATEST_S = 5.0
"""s after which a drive that broke away has surely turned by that many edges."""


@dataclass(frozen=True, slots=True)
class Loose:
    """How a drive turns that has broken loose."""

    ke_v_s: float
    time_constant_s: float
    rad_per_count: float

    def counts(self, t_s: Floats, volts_per_s: float) -> Floats:
        """Counts turned after a time."""
        lag = self.time_constant_s
        turned = t_s**2 / 2 - lag * t_s + lag**2 * -np.expm1(-t_s / lag)
        return np.asarray(volts_per_s / self.ke_v_s * turned / self.rad_per_count)


def volts_at_start(record: Record, way: int, loose: Loose) -> Value:
    """The voltage of the moment at which it broke away. Raises ValueError where it turned by too little."""
    driven = np.flatnonzero(record.duty != 0.0)
    if len(driven) < EDGES:
        raise ValueError("it was not driven")
    part = record.part(int(driven[0]), int(driven[-1]) + 1)
    volts = part.volts * way
    slope, at_zero = np.polyfit(part.t_s, volts, 1)
    moved = np.maximum.accumulate((part.count - part.count[0]) * way)
    reached = [part.t_s[int(np.argmax(moved >= count))] for count in range(1, int(moved[-1]) + 1)]
    if len(reached) < EDGES or slope <= 0.0:
        raise ValueError("it turned by too few counts")
    times = np.linspace(0.0, LATEST_S, 5001)
    turned = loose.counts(times, float(slope))
    best, start = np.inf, 0.0
    for first in range(len(reached) - EDGES + 1):
        edges = np.asarray(reached[first : first + EDGES])
        for stood in STARTS:
            began = edges - np.interp(np.arange(EDGES) + 1 - stood, turned, times)
            spread = float(np.std(began))
            if spread < best:
                best, start = spread, float(np.mean(began))
    tick = record.step_s / np.sqrt(12)
    return Value(float(at_zero + slope * start), float(slope) * float(np.hypot(best, tick)))
