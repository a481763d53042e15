"""What the points of a servo come to: trends, and the words for those that show wear. Pure."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from statistics import median

from pydantic import Field

from geartender.bench.estimators.health import REFERENCE, relative, trend
from geartender.bench.health.diary import Point
from geartender.bench.models import Plot
from geartender.servo.models import Shown

OFF_COUNTS = 2.0
"""Counts that the home mark is off from which counts are lost: the edge itself comes within one."""

OFF_DAYS = 3
"""Days in a row on which it has to be."""

PLAY_COUNTS = 3.0
"""Counts by which play has to grow before it is said, however small it was."""

DAYS_A_WEEK = 7.0

HOW = (
    "Only steady parts of normal moves are compared, each with what the same piece of the travel took at the same speed before."
    " Cold grease, a cold winding or a hot one change friction by some per cent too."
)
"""What the trends are worth."""


class HealthTrend(Shown):
    """How one measure has changed."""

    name: str
    title: str
    unit: str
    reference: float | None = Field(description="What it was at first; null until there are enough days.")
    now: float | None = Field(description="Median of the newest days.")
    change: float | None = Field(description="Share by which it has changed.")
    per_week: float | None = Field(description="Share by which it changes in a week (Theil and Sen).")
    since: datetime | None = Field(description="When the change began, where there is one.")
    shows: bool = Field(description="Whether it is wear worth a look.")
    points: list[tuple[datetime, float]] = Field(description="Time and value, oldest first.")


class HealthReport(Shown):
    """What normal moves say of a servo's health."""

    servo: str
    since: datetime | None = Field(description="First day that is compared.")
    points: int = Field(description="Points that are compared, a day or 200 moves each.")
    moves: int = Field(description="Moves that they are from.")
    trends: list[HealthTrend]
    off_counts: float | None = Field(description="How far the count was off at the home mark on the newest day.")
    marks: int = Field(description="Passages of the home mark.")
    plots: list[Plot]
    notes: list[str]


@dataclass(frozen=True, slots=True)
class Measure:
    """Something that is watched."""

    name: str
    title: str
    unit: str
    least: float
    """Least share of growth that is said."""
    by_cell: Callable[[Point], Mapping[str, float]]
    advice: str = ""
    """What to look at; empty: it is shown, and nothing is said of it."""
    least_by: float = 0.0
    """And least growth in its own unit."""

    def sentence(self, servo: str, found: HealthTrend, newest: datetime) -> str:
        """What is the matter."""
        change, since = found.change or 0.0, found.since or newest
        return (
            f"{self.title} of {servo} is {change:.0%} higher than {ago(newest, since)}: {found.now:.3g} {self.unit}"
            f" instead of {found.reference:.3g}."
        )


MEASURES = (
    Measure(
        "friction_nm",
        "Running friction at the motor",
        "N·m",
        0.20,
        lambda point: point.friction,
        "Look at bearings, grease and dirt in the gears, and whether the lever or a seal drags. When it is cured, or if it is"
        " meant to be so, put this aside: the comparison begins anew.",
    ),
    Measure("effort_a", "Current for the same move", "A", 0.20, lambda point: point.effort),
    Measure(
        "play_counts",
        "Play at reversal",
        "counts",
        0.30,
        lambda point: {} if point.play is None else {"play": point.play},
        "Look at worn teeth, set screws and loose axles. When it is cured, or if it is meant to be so, put this aside: the"
        " comparison begins anew.",
        PLAY_COUNTS,
    ),
)

COUNTS = "counts"
"""What the count at the home mark is called in a notice."""

LOST_COUNTS = (
    "Look at the distance of the sensors from the disc, at loose magnets and at the wires. Then find home again."
)


def assess(measure: Measure, points: Sequence[Point], begins: Mapping[str, datetime]) -> HealthTrend:
    """The trend of a measure over points that can be compared; `begins` says from when on, by measure."""
    days = [(point, measure.by_cell(point)) for point in _from(points, begins, measure.name)]
    shares = relative([cells for _, cells in days])
    kept = [(point.at, share) for (point, _), share in zip(days, shares, strict=True) if share is not None]
    level = [median(cells.values()) for _, cells in days if cells][:REFERENCE]
    reference = median(level) if len(level) == REFERENCE else None
    found = None
    if reference is not None and kept:
        start = kept[0][0]
        ages = [(at - start).total_seconds() / 86_400 for at, _ in kept]
        found = trend(ages, [share for _, share in kept], max(measure.least, measure.least_by / max(reference, 1e-9)))
    return HealthTrend(
        name=measure.name,
        title=measure.title,
        unit=measure.unit,
        reference=reference,
        now=None if found is None or reference is None else reference * found.now,
        change=None if found is None else found.now - 1.0,
        per_week=None if found is None else found.per_week,
        since=kept[found.since][0] if found is not None and found.shows else None,
        shows=found is not None and found.shows and bool(measure.advice),
        points=[] if reference is None else [(at, reference * share) for at, share in kept],
    )


def _from(points: Sequence[Point], begins: Mapping[str, datetime], measure: str) -> list[Point]:
    return [point for point in points if measure not in begins or point.at >= begins[measure]]


def lost_counts(points: Sequence[Point], begins: Mapping[str, datetime]) -> float | None:
    """Counts that are off at the home mark, where it is so day after day; else None."""
    off = [point.off for point in _from(points, begins, COUNTS) if point.off is not None][-OFF_DAYS:]
    least = min(off, key=abs, default=0.0)
    same_way = all(one * least > 0 for one in off)
    return least if len(off) == OFF_DAYS and same_way and abs(least) >= OFF_COUNTS else None


def health_of(servo: str, points: Sequence[Point], begins: Mapping[str, datetime]) -> HealthReport:
    """All of it, for showing."""
    trends = [assess(measure, points, begins) for measure in MEASURES]
    off = [point.off for point in points if point.off is not None]
    return HealthReport(
        servo=servo,
        since=points[0].at if points else None,
        points=len(points),
        moves=sum(point.moves for point in points),
        trends=trends,
        off_counts=off[-1] if off else None,
        marks=sum(point.marks for point in points),
        plots=[_plot(one) for one in trends if len(one.points) > 1],
        notes=_notes(trends),
    )


def _notes(trends: Sequence[HealthTrend]) -> list[str]:
    notes = [HOW]
    if all(one.now is None for one in trends):
        notes.append("Not enough yet: it takes nine days with moves both ways over the same piece of the travel.")
    elif next(one for one in trends if one.name == "play_counts").reference is None:
        notes.append("Play is not seen in these moves: the load keeps the teeth together. The bench measures it.")
    return notes


def _plot(one: HealthTrend) -> Plot:
    start = one.points[0][0]
    line = [((at - start).total_seconds() / 86_400, value) for at, value in one.points]
    reference = one.reference or 0.0
    return Plot(
        title=one.title,
        x_label="days",
        y_label=one.unit,
        series={"measured": line, "at first": [(line[0][0], reference), (line[-1][0], reference)]},
    )


def ago(newest: datetime, since: datetime) -> str:
    """How long ago, in words: `three weeks ago` or `12 days ago`."""
    days = max(1, round((newest - since).total_seconds() / 86_400))
    weeks = round(days / DAYS_A_WEEK)
    if days < 2 * DAYS_A_WEEK:
        return f"{days} days ago" if days > 1 else "a day ago"
    return f"{weeks} weeks ago"


def table(points: Sequence[Point]) -> list[list[str]]:
    """The points as rows of a table, with a head."""
    head = ["at", "moves", "friction_nm", "effort_a", "play_counts", "marks", "off_counts"]
    rows = [
        [
            point.at.isoformat(),
            str(point.moves),
            *(f"{median(cells.values()):.6g}" if cells else "" for cells in (point.friction, point.effort)),
            "" if point.play is None else f"{point.play:g}",
            str(point.marks),
            "" if point.off is None else f"{point.off:g}",
        ]
        for point in points
    ]
    return [head, *rows]
