"""What normal moves say about wear: like is compared with like, day by day. Pure, and without arrays: it runs all the time.

Steady parts of moves are put into cells of the same piece of the travel and the same speed. What a cell takes up and what it takes
down differ by twice the friction; what they have in common is the load. Trends are medians: Theil (1950) and Sen (1968) for the
slope, the median absolute deviation times 1.4826 (Hampel 1974) for the scatter; both from memory.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import median

from geartender.servo.models import TraceRow

BANDS = 6
"""Pieces of the travel, or of a turn: wide enough for some rows each, so narrow that a load that changes with angle is alike."""

SPEEDS_MAX = 5
"""The slowest class of speeds; each is the next one's times the root of two."""

STEADY_SHARE = 0.9
"""Share of a move's top speed from which it goes steadily: what accelerates says more about the rotor than about friction."""

ROWS_MIN = 4
"""Rows of telemetry in a cell that are a sample: an eighth of a second, a few teeth of a fast wheel."""

REFERENCE = 5
"""Days of a cell that make its reference."""

RECENT = 4
"""Newest days that have to agree before something is said: one windy or frosty day says nothing."""

AGREE_SHARE = 0.75
"""Share of the least change that is said that each of them has to show."""

SCATTER_TIMES = 3.0
"""Times the machine's own scatter from day to day that a change has to exceed."""

MAD_TO_SIGMA = 1.4826
"""A normal distribution's standard deviation for a median absolute deviation of one."""

TAKEN_UP = 0.5
"""Share of the steady load at which a reversal has taken up the play."""

PRESSED_SHARE = 0.4
"""Share of the load one way that the load the other way has to have: with less, the teeth may not have come apart at all."""

REST_SHARE = 0.05
"""Share of a move's top speed below which it has not really begun."""


@dataclass(frozen=True, slots=True)
class Place:
    """What moves of a servo are sorted by."""

    low_deg: float
    high_deg: float
    """Travel, degrees; of an endless output one turn."""
    top_deg_s: float
    """The sheet's speed limit."""
    endless: bool = False

    def cell(self, angle_deg: float, speed_deg_s: float) -> str:
        """Name of the cell of an angle and a speed."""
        share = (angle_deg - self.low_deg) / (self.high_deg - self.low_deg)
        share = share % 1.0 if self.endless else min(max(share, 0.0), 0.999)
        band = math.floor(share * BANDS)
        slower = round(2 * math.log2(max(self.top_deg_s / speed_deg_s, 1.0)))
        return f"{band}/{min(slower, SPEEDS_MAX)}"


@dataclass(frozen=True, slots=True)
class Sample:
    """What one move took in one cell."""

    cell: str
    way: int
    current_a: float
    """Signed as the angle: up is positive."""


def samples(rows: Sequence[TraceRow], place: Place) -> list[Sample]:
    """What a move took in the cells that it went through steadily."""
    top = max((abs(row.speed_deg_s) for row in rows), default=0.0)
    found: dict[tuple[str, int], list[float]] = {}
    for row in rows:
        if top > 0.0 and row.angle_deg is not None and abs(row.speed_deg_s) >= STEADY_SHARE * top:
            way = 1 if row.speed_deg_s > 0 else -1
            found.setdefault((place.cell(row.angle_deg, top), way), []).append(row.current_a)
    return [Sample(cell, way, median(seen)) for (cell, way), seen in found.items() if len(seen) >= ROWS_MIN]


@dataclass(frozen=True, slots=True)
class Pull:
    """What a move pulled, for whoever asks whether the next one goes through the play."""

    way: int
    """Of its steady part: 1 up, -1 down."""
    load_nm: float
    """Load on the teeth meanwhile, signed as the angle."""
    last_way: int
    """Which way it went last: an approach from below ends upwards."""

    @property
    def apart(self) -> bool:
        """Whether the teeth are pressed by its own motion: where the load alone keeps them together, play is not seen."""
        return self.load_nm * self.way > 0.0


def pull(rows: Sequence[TraceRow]) -> Pull | None:
    """What a move pulled; None where it never went steadily."""
    top = max((abs(row.speed_deg_s) for row in rows), default=0.0)
    steady = [row for row in rows if top and abs(row.speed_deg_s) >= STEADY_SHARE * top]
    moving = [row for row in rows if abs(row.speed_deg_s) > REST_SHARE * top]
    if len(steady) < ROWS_MIN:
        return None
    way = 1 if steady[0].speed_deg_s > 0 else -1
    return Pull(way, median(row.torque_nm for row in steady), 1 if moving[-1].speed_deg_s > 0 else -1)


def taken_up(rows: Sequence[TraceRow], now: Pull, opposite: Pull, last_way: int) -> float | None:
    """Counts from the start of a move until its load is on the teeth; None unless it goes through the play.

    `opposite` is the last move the other way, `last_way` the way that the output went last before this one.
    """
    loads = sorted((abs(now.load_nm), abs(opposite.load_nm)))
    if now.way == last_way or now.way == opposite.way or not now.apart or not opposite.apart:
        return None
    if loads[0] < PRESSED_SHARE * loads[1]:
        return None
    wanted, start, way = TAKEN_UP * abs(now.load_nm), rows[0].counts, now.way
    for one, other in pairwise(rows):
        at, then = one.torque_nm * way, other.torque_nm * way
        if at < wanted <= then:
            return abs(one.counts + (wanted - at) / (then - at) * (other.counts - one.counts) - start)
    return None


def friction_a(up_a: float, down_a: float, efficiency: float) -> float:
    """Current that friction takes, from what goes up and what goes down at the same place.

    Half of the difference, less the losses in the teeth that the load makes: up they divide it by the efficiency, down multiply it.
    """
    losses = (1 - efficiency**2) / (1 + efficiency**2)
    half = (up_a - down_a) / 2
    return max(half - losses * abs(up_a + down_a) / 2, 0.1 * abs(half))


def relative(days: Sequence[Mapping[str, float]]) -> list[float | None]:
    """Each day against the first ones, cell by cell; None for a day whose cells have no reference.

    A cell that comes later is joined on by what the others were then, so that other moves are no change.
    """
    references: dict[str, float] = {}
    waiting: dict[str, list[float]] = {}
    level = 1.0
    for cells in days:
        known = [value / references[cell] for cell, value in cells.items() if cell in references]
        level = median(known) if known else level
        for cell, value in cells.items():
            if cell not in references and value > 0.0:
                waiting.setdefault(cell, []).append(value / level)
                if len(waiting[cell]) == REFERENCE:
                    references[cell] = median(waiting.pop(cell))
    return [
        median(known)
        if (known := [value / references[cell] for cell, value in cells.items() if cell in references])
        else None
        for cells in days
    ]


@dataclass(frozen=True, slots=True)
class Trend:
    """How a measure has changed against its reference, 1 being no change."""

    now: float
    """Median of the newest days."""
    per_week: float
    """Slope (Theil and Sen)."""
    scatter: float
    """Standard deviation from day to day, by the median absolute deviation."""
    since: int
    """Index of the day after the last one that was as before."""
    shows: bool
    """Whether it is a change worth saying."""


def trend(days: Sequence[float], values: Sequence[float], least: float) -> Trend | None:
    """The trend of values, 1 at first, on days that rise; None while there are too few. `least`: the least growth worth saying."""
    if len(values) < REFERENCE + RECENT:
        return None
    now = median(values[-RECENT:])
    rise = now - 1.0
    smooth = [median(values[max(0, at - 2) : at + 3]) for at in range(len(values))]
    scatter = MAD_TO_SIGMA * median(abs(value - usual) for value, usual in zip(values, smooth, strict=True))
    as_before = [at for at, value in enumerate(smooth) if value <= 1.0 + rise / 4]
    agree = all(value - 1.0 >= AGREE_SHARE * least for value in values[-RECENT:])
    return Trend(
        now,
        7 * slope(days[-SLOPE_POINTS:], values[-SLOPE_POINTS:]),
        scatter,
        min(as_before[-1] + 1, len(values) - 1) if as_before else 0,
        agree and rise >= max(least, SCATTER_TIMES * scatter),
    )


SLOPE_POINTS = 120
"""Newest points that the slope is taken over: all pairs of more would hold up the beat of a small board."""


def slope(xs: Sequence[float], ys: Sequence[float]) -> float:
    """The median of the slopes between all pairs of points."""
    slopes = [
        (ys[j] - ys[i]) / (xs[j] - xs[i]) for i in range(len(xs)) for j in range(i + 1, len(xs)) if xs[j] != xs[i]
    ]
    return median(slopes) if slopes else 0.0
