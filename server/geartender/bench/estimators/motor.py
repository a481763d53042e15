"""The motor with its train, from runs at a held voltage and the coasting after them.

With place x, speed w: w' = a·V - (a·Ke + b)·w - c while driven, w' = -b·w - c with the motor's ends open; the drag c holds for
a way of turning, and where there is a weight it goes in straight pieces over the cosine of the angle: the same weight may drive the
train here and be driven by it there, with other losses. Integrated twice, x is linear in a, a·Ke + b, b and the drags with
regressors that are sums of what was recorded, so that nothing is ever differentiated: what a count leaves open is the only noise. A
coasting train is driven by its load, with other losses, so it has drags of its own, and gives b alone. (The integral method of
identification in continuous time; from memory: Garnier and Wang, Identification of Continuous-time Models from Sampled Data, 2008.)
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from geartender.bench.estimators.fit import Value, jackknife, product, solve
from geartender.bench.estimators.record import Floats, Record

LEAST_SAMPLES = 25
"""Samples of a part below which it says nothing."""

LEAST_QUICK = 3
"""Runs against the weight, without the slow ones, from which these alone tell the inertia."""

EVEN_TIMES = 1.0
"""Time constants after which a run has come to its speed; before, the train may pass its load's weight on with other losses."""

VISCOUS_SHARE, VISCOUS_SPREAD = 0.2, 0.2
"""Share of the motor's own friction that grows with speed, at the highest speed of the runs, before anything is known of it, and
its standard uncertainty: little in brushes and bearings, and teeth rub alike at every speed. Common practice, no source."""


@dataclass(frozen=True, slots=True)
class Part:
    """A piece of a run: turning one way, driven all the time or not at all. Angles in rad of the motor."""

    run: int
    t_s: Floats
    x_rad: Floats
    volts: Floats
    cos_angle: Floats
    """Cosine of the output's angle, for weight; 0 where it plays no part."""
    driven: bool
    way: int
    slow: bool = False
    """A long run that hardly accelerates: it tells friction from place to place, and nothing of the inertia."""


WEIGHT_SHARE = 0.5
"""Standard uncertainty of the sheet's weight of the load, as a share: its losses in the train are not known either."""


@dataclass(frozen=True, slots=True)
class Weight:
    """What the sheet says of the load's weight, as voltages; runs over a short way alone cannot tell it."""

    cosines: Floats
    """Between which the drag is straight, ascending; the middle of the travel is one of them."""
    up_v: Floats
    """How much more it takes to go up at each than at the one before."""
    down_v: Floats
    floor_v: float
    """What such a step may be off besides its share."""
    accel_per_volt: float
    noise_rad: float
    """Of a sample: what a count leaves open."""


@dataclass(frozen=True, slots=True)
class Constants:
    """What runs say. Everything is divided by the inertia, which they alone cannot tell."""

    ke_v_s: Value
    time_constant_s: Value
    accel_per_volt: Value
    """rad/s² for a volt: Ke / (R · J)."""
    viscous_per_s: Value
    drag_volts: tuple[Value, Value]
    """Running friction up and down as a voltage at rest: with the weight at the cosine asked for, without what grows with speed."""


def parts(
    record: Record,
    run: int,
    rad_per_count: float,
    table: Floats,
    cos_angle: Floats,
    skip_counts: float,
    *,
    slow: bool = False,
) -> list[Part]:
    """The driven and the coasting part of a run, without the take-up of the play at the start and the creeping at the end.

    `table` are the edges' offsets in counts.
    """
    count = record.count
    size = len(table)
    place = count + 0.5 + (table[count % size] + table[(count + 1) % size]) / 2
    x = place * rad_per_count
    way = 1 if count[-1] >= count[0] else -1
    moved = (count - count[0]) * way
    begun = int(np.argmax(moved > skip_counts))
    off = np.flatnonzero(record.duty != 0.0)
    if len(off) == 0 or not begun:
        return []
    end = int(off[-1]) + 1
    found = []
    for first, last, driven in ((begun, end, True), (end, _still(count, end, way), False)):
        if last - first >= LEAST_SAMPLES:
            at = slice(first, last)
            found.append(
                Part(run, record.t_s[at], x[at], record.volts[at], cos_angle[at], driven=driven, way=way, slow=slow)
            )
    return found


def _still(count: Floats | np.ndarray, first: int, way: int) -> int:
    """The sample from which a coasting disc is slower than a count in ten samples, or goes back."""
    later = count[first + 10 :] - count[first:-10] if len(count) > first + 10 else np.zeros(0)
    slow = np.flatnonzero(later * way < 2)
    return first + (int(slow[0]) if len(slow) else len(later))


def constants(found: Sequence[Part], cosine: float, weight: Weight | None, own_v: float) -> Constants:
    """Fit all parts together; the uncertainties come from leaving out run after run.

    The drags are given at an angle of that cosine. Without a `weight` they do not change with the angle. `own_v` is the voltage
    that the motor's own friction takes. Raises ValueError with fewer than three runs, or without both ways.
    """
    runs = sorted({part.run for part in found})
    if len(runs) < 3 or {part.way for part in found} != {1, -1}:
        raise ValueError("too few runs, or runs one way only")
    groups = [[part for part in found if part.run == run] for run in runs]
    nodes = np.array([cosine]) if weight is None else weight.cosines
    middle = int(np.argmin(np.abs(nodes - cosine)))

    driven = [part for part in found if part.driven]
    a, whole, _ = _fit(driven, nodes, weight)

    def evenly(chosen: Sequence[list[Part]]) -> Floats:
        even = [_even(part, EVEN_TIMES / whole) for group in chosen for part in group if part.driven]
        _, per_volt, drags = _fit(even, nodes, weight, a)
        return np.array([per_volt, *drags.ravel()]) / a

    values = _values(groups, evenly)
    drags = np.array([one.value for one in values[1:]]).reshape(2, len(nodes))
    up, down = values[1 + middle], values[1 + len(nodes) + middle]
    # the motor surely drives the train where the weight is against it
    lifting = [group for group in groups if not group[0].slow and group[0].way == (1 if up.value >= down.value else -1)]

    def quickly(chosen: Sequence[list[Part]]) -> Floats:
        return _fit_inertia([part for group in chosen for part in group if part.driven], nodes, drags)

    def roughly(chosen: Sequence[list[Part]]) -> Floats:
        a, whole, _ = _fit([part for group in chosen for part in group if part.driven], nodes, weight)
        return np.array([1 / whole, a])

    time_constant, accel = _values(lifting, quickly) if len(lifting) >= LEAST_QUICK else _values(groups, roughly)
    viscous = _viscous([part for part in found if not part.driven], own_v * accel.value, _top(found))
    lost = viscous.scaled(1 / accel.value)
    ke = Value(values[0].value - lost.value, math.hypot(values[0].uncertainty, lost.uncertainty))
    return Constants(ke, time_constant, accel, viscous, (up, down))


def _values(groups: Sequence[list[Part]], estimate: Callable[[Sequence[list[Part]]], Floats]) -> list[Value]:
    whole, spread = jackknife(groups, estimate)
    return [Value(float(v), float(u)) for v, u in zip(whole, spread, strict=True)]


def _top(found: Sequence[Part]) -> float:
    """The highest speed of any part, rad/s."""
    return max(
        float(np.max(np.abs(part.x_rad[20:] - part.x_rad[:-20]) / (part.t_s[20] - part.t_s[0]))) for part in found
    )


def _viscous(coasting: Sequence[Part], own: float, top: float) -> Value:
    """b from what the coasting parts say, each with its own drag, and from what is usual beside the motor's own friction."""
    usual = Value(VISCOUS_SHARE * own / top, VISCOUS_SPREAD * own / top)
    if len(coasting) < 2:
        return usual
    seen = [_coast(part) for part in coasting]
    spread = float(np.std([one.value for one in seen], ddof=1))
    weights = np.array([1 / (one.uncertainty**2 + spread**2) for one in [*seen, usual]])
    weights[-1] = 1 / usual.uncertainty**2
    value = float(np.sum(weights * [one.value for one in [*seen, usual]]) / weights.sum())
    return Value(max(value, 0.0), float(1 / math.sqrt(weights.sum())))


def _coast(part: Part) -> Value:
    """b of one coasting: x = x0 + w0·t - c·t²/2 - b·∫(x - x0)."""
    t, x = part.t_s - part.t_s[0], (part.x_rad - part.x_rad[0]) * part.way
    slide = np.append(0.0, np.cumsum((x[1:] + x[:-1]) / 2 * (t[1] - t[0])))
    parameters, spread = solve(np.column_stack([slide, t**2, t, np.ones(len(t))]), x)
    return Value(-float(parameters[0]), float(spread[0]))


def _fit(
    driven: Sequence[Part], nodes: Floats, weight: Weight | None, known: float | None = None
) -> tuple[float, float, Floats]:
    """a, a·Ke + b, and the drags as (way, node), by least squares over all driven parts, each with its own start.

    Parts that hardly accelerate do not tell a, which is `known` then.
    """
    size, rows, seen = len(nodes), [], []
    wide = 2 + 2 * size + 2 * len(driven)
    for at, part in enumerate(driven):
        t, turned, speed = _integrals(part)
        design = np.zeros((len(t), wide))
        first = 2 if part.way > 0 else 2 + size
        design[:, 0] = _twice(part.volts * part.way, t[1])
        design[:, 1] = -speed
        for node, one in enumerate(_hats(part, nodes)):
            design[:, first + node] = -_twice(one, t[1])
        design[:, 2 + 2 * size + 2 * at] = 1.0
        design[:, 3 + 2 * size + 2 * at] = t
        rows.append(design)
        seen.append(turned)
    if weight is not None:
        rows.append(_expected(weight, wide))
        seen.append(np.zeros(len(rows[-1])))
    design, turned = np.vstack(rows), np.concatenate(seen)
    if known is None:
        parameters, _ = solve(design, turned)
    else:
        others, _ = solve(design[:, 1:], turned - design[:, 0] * known)
        parameters = np.append(known, others)
    return float(parameters[0]), float(parameters[1]), parameters[2 : 2 + 2 * size].reshape(2, size)


def _even(part: Part, begun_s: float) -> Part:
    """What is left of a quick part when it has come to its speed; all of it where that is too little."""
    first = int(np.searchsorted(part.t_s - part.t_s[0], begun_s))
    if part.slow or len(part.t_s) - first < LEAST_SAMPLES:
        return part
    return replace(
        part, t_s=part.t_s[first:], x_rad=part.x_rad[first:], volts=part.volts[first:], cos_angle=part.cos_angle[first:]
    )


def _fit_inertia(driven: Sequence[Part], nodes: Floats, drag_volts: Floats) -> Floats:
    """(1 / (a·Ke + b), a), with drags that are known, as voltages by (way, node)."""
    rows, seen = [], []
    for at, part in enumerate(driven):
        t, turned, speed = _integrals(part)
        design = np.zeros((len(t), 2 + 2 * len(driven)))
        held = drag_volts[0 if part.way > 0 else 1] @ _hats(part, nodes)
        design[:, 0] = _twice(part.volts * part.way - held, t[1])
        design[:, 1] = -speed
        design[:, 2 + 2 * at] = 1.0
        design[:, 3 + 2 * at] = t
        rows.append(design)
        seen.append(turned)
    parameters, _ = solve(np.vstack(rows), np.concatenate(seen))
    return np.array([1 / parameters[1], parameters[0]])


def _integrals(part: Part) -> tuple[Floats, Floats, Floats]:
    """Time from the part's beginning, the way turned, and the integral of that."""
    t, turned = part.t_s - part.t_s[0], (part.x_rad - part.x_rad[0]) * part.way
    return t, turned, np.append(0.0, np.cumsum((turned[1:] + turned[:-1]) / 2 * (t[1] - t[0])))


def _hats(part: Part, nodes: Floats) -> Floats:
    """How much of each node's drag there is at each sample, as (node, sample)."""
    return np.array([np.interp(part.cos_angle, nodes, one) for one in np.eye(len(nodes))])


def _expected(weight: Weight, wide: int) -> Floats:
    """Rows that say what the sheet does of the weight: drag there less drag before = a · its voltage, within its uncertainty."""
    size = len(weight.cosines)
    rows = np.zeros((2 * (size - 1), wide))
    for way, steps in enumerate((weight.up_v, weight.down_v)):
        for at, volts in enumerate(steps):
            known = weight.noise_rad / (weight.accel_per_volt * math.hypot(WEIGHT_SHARE * volts, weight.floor_v))
            row, node = rows[way * (size - 1) + at], 2 + way * size + at
            row[0], row[node], row[node + 1] = -known * volts, -known, known
    return rows


def _twice(held: Floats, dt: float) -> Floats:
    """The double integral of what is held from sample to sample."""
    once = np.append(0.0, np.cumsum(held[:-1]) * dt)
    return np.append(0.0, np.cumsum((once[1:] + once[:-1]) / 2 * dt))


def resistance(volts: Sequence[float], amps: Sequence[float], meter_share: float, meter_digit_a: float) -> Value:
    """The winding's resistance from readings at a stall: V = R·I. The meter's own error is a share and a digit."""
    each = [
        Value(v / i, v / i * math.hypot(meter_share, meter_digit_a / math.sqrt(12) / i))
        for v, i in zip(volts, amps, strict=True)
    ]
    weights = np.array([1 / max(one.uncertainty, 1e-12) ** 2 for one in each])
    value = float(np.sum(weights * [one.value for one in each]) / weights.sum())
    # the share is the same meter's in every reading, so it does not average out
    digits = math.sqrt(1 / sum(1 / max((meter_digit_a / math.sqrt(12) / i * value) ** 2, 1e-18) for i in amps))
    return Value(value, math.hypot(value * meter_share, digits))


def inertia(found: Constants, ohm: Value) -> Value:
    """All inertia at the motor's shaft: Ke / (a · R)."""
    return product(1.0, (found.ke_v_s, 1), (found.accel_per_volt, -1), (ohm, -1))


def split(whole: Value, one: Value, other: Value) -> Value:
    """The first of two parts of a whole that was measured, by what was thought of both before: least squares."""
    gain = one.uncertainty**2 / (one.uncertainty**2 + other.uncertainty**2 + whole.uncertainty**2)
    value = one.value + gain * (whole.value - one.value - other.value)
    return Value(value, one.uncertainty * math.sqrt(1 - gain))


def supply(rows: Sequence[tuple[float, float, float]]) -> tuple[Value, Value]:
    """Open voltage and resistance of the supply, from rows of (supply V, duty, motor current A): U = U0 - Rs · duty · I."""
    table = np.asarray(rows, float)
    drawn = table[:, 1] * table[:, 2]
    parameters, spread = solve(np.column_stack([np.ones(len(table)), -drawn]), table[:, 0])
    return Value(float(parameters[0]), float(spread[0])), Value(float(parameters[1]), float(spread[1]))
