"""What pressing against an end stop tells: the train's stiffness, and the play when the drive is turned round."""

from __future__ import annotations

import itertools
import math

import numpy as np

from geartender.bench.estimators.fit import Value, solve
from geartender.bench.estimators.record import Floats, Record

PAUSE_S = 0.06
"""s without a count that is a pause: the rotor has met the other flank and waits for the voltage to lift the load."""

CREEPS_S = 0.12
"""s on a count that a rotor just broken loose creeps over; on one where it still unwinds the train it waits for longer."""

COUNT = 0.41
"""Standard uncertainty of a way between two counts, each anywhere in its own."""

LEAST_JUMP = 3
"""Counts at once that are a jump, and no creeping."""

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


def crossed(record: Record, way: int) -> Value | None:
    """Counts from the flank the teeth lay on to the other; None where no pause was seen.

    The voltage grows slowly: the rotor lets go of its twist count by count, breaks loose and crosses the play, quicker and quicker,
    winds up the train at the other flank, waits there, and goes on when the voltage is enough for the load. So the play is the
    longest way without a pause, from where it last waited before that to where the other flank begins to slow it down: between
    where it was quickest, which is the likeliest, and where it waits. One of few counts is crept over: then it ends where the rotor
    waits longest, and began anywhere before.
    """
    found = [pause for pause in pauses(record, way) if pause[2] != 0.0]
    if not found:
        return None
    places = [0, *((at - int(record.count[0])) * way for at, _, _ in found)]
    jumps = [after - before for before, after in itertools.pairwise(places)]
    best = int(np.argmax(jumps))
    crept = jumps[best] < LEAST_JUMP
    if crept and len(found) > 1:
        best = 1 + int(np.argmax([seconds for _, seconds, _ in found[1:]]))
    waited = [place for place, (_, seconds, _) in zip(places[1 : best + 1], found, strict=False) if seconds > CREEPS_S]
    from_place = waited[-1] if waited else places[min(best, 1)]
    most = places[best + 1] - (0 if crept else from_place)
    least = (places[best + 1] if crept else _quickest(record, way, places[best], places[best + 1])) - from_place
    return Value(least + (most - least) / (2 if crept else 3), math.hypot(COUNT, (most - least) / math.sqrt(12)))


def _quickest(record: Record, way: int, first: int, last: int) -> int:
    """The count between two, counted from the first of the record, up to which it was quickest over two counts."""
    moved = np.maximum.accumulate((record.count - record.count[0]) * way)
    reached = np.array([record.t_s[int(np.argmax(moved >= count))] for count in range(first, last + 1)])
    lasts = reached[2:] - reached[:-2]
    return first + 2 + int(np.flatnonzero(lasts <= lasts.min() + record.step_s / 2)[-1])
