"""What pressing against an end stop tells: the train's stiffness, and the play when the drive is turned round."""

from __future__ import annotations

import itertools

import numpy as np

from geartender.bench.estimators.fit import Value, solve
from geartender.bench.estimators.record import Floats, Record

PAUSE_S = 0.06
"""s without a count that is a pause: the rotor has met the other flank and waits for the voltage to lift the load."""

PRESSED_COUNTS = 2
"""Counts of twist below which a stiffness says nothing."""


def twist(record: Record, way: int) -> tuple[Floats, Floats]:
    """Voltages at which the disc passed each count while it was pressed harder and harder, and the counts since the first."""
    moved = np.flatnonzero(np.diff(record.count) * way > 0) + 1
    counts = (record.count[moved] - record.count[0]) * way
    return record.volts[moved] * way, counts.astype(float)


def volts_per_count(record: Record, way: int, drag_volts: float) -> Value:
    """Slope of the voltage over the twist in counts, once what opposes the rotor itself is overcome. Raises ValueError."""
    volts, counts = twist(record, way)
    pressing = volts > 1.15 * drag_volts
    if pressing.sum() < PRESSED_COUNTS or np.ptp(counts[pressing]) < 1:
        raise ValueError("the train twists by too few counts")
    at, seen = counts[pressing], volts[pressing]
    parameters, spread = solve(np.column_stack([np.ones(len(at)), at]), seen)
    return Value(
        float(parameters[1]), float(max(spread[1] if len(at) > 2 else 0.0, abs(parameters[1]) * 0.3 / (at[-1] - at[0])))
    )


def pauses(record: Record, way: int) -> list[tuple[int, float, float]]:
    """Where the disc stood still for a while after it had begun to move: (count, seconds, volts at the pause's end)."""
    edges = np.flatnonzero(np.diff(record.count) != 0) + 1
    found: list[tuple[int, float, float]] = []
    if len(edges) == 0:
        return found
    for first, last in zip(edges, [*edges[1:], len(record.count)], strict=True):
        seconds = (last - first) * record.step_s
        if seconds >= PAUSE_S and (record.count[first] - record.count[0]) * way > 0:
            found.append(
                (int(record.count[first]), float(seconds), float(record.volts[min(last, len(record.volts)) - 1]))
            )
    return found


def crossed(record: Record, way: int) -> tuple[Value, float] | None:
    """Counts from the flank the teeth lay on to the other, and the voltage that then moved the load; None where no pause was seen.

    The voltage grows slowly: the rotor lets go of its twist, breaks loose and crosses the play, waits at the other flank, and goes
    on when the voltage is enough for the load. The play is the longest way that ends in a pause.
    """
    found = pauses(record, way)
    if not found:
        return None
    places = [0, *((at - int(record.count[0])) * way for at, _, _ in found)]
    jumps = [after - before for before, after in itertools.pairwise(places)]
    best = int(np.argmax(jumps))
    at, _, volts = found[best]
    return Value(float((at - record.count[0]) * way), 0.41), volts * way


def breakaway(record: Record, way: int) -> float:
    """The voltage at which the disc first moved, of one that grows slowly; NaN where it never did."""
    moved = np.flatnonzero((record.count - record.count[0]) * way > 0)
    return float(record.volts[moved[0]] * way) if len(moved) else float("nan")
