"""What the moves of one servo took, gathered to a point a day. Bounded, and kept as plain JSON. No I/O, no clock."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from statistics import median
from typing import Any, TypeVar

from geartender.bench.estimators.health import Place, Pull, friction_a, pull, samples, taken_up
from geartender.build.drive import Drive
from geartender.servo.models import TraceRow

T = TypeVar("T", int, float)

POINTS_MAX = 400
"""Points kept: more than a year of days."""

MOVES_A_POINT = 200
"""Moves after which a point is made before the day is over: a busy machine can wear within days."""

KEPT_A_CELL = 9
"""Newest samples of a cell and way that make its median."""

CELLS_MAX = 16
"""Cells of a point; a machine that goes everywhere at every speed is known by the first ones."""

DIGITS = 5
"""Digits of a current in A that are kept: a tenth of what telemetry tells."""


@dataclass(frozen=True, slots=True)
class Nature:
    """What the moves of a servo are read by."""

    place: Place
    efficiency: float
    kt_nm_a: float
    model: str
    """Changes when currents and counts mean something else: then nothing before is comparable."""

    @classmethod
    def of(cls, drive: Drive, place: Place, deg_per_count: float) -> Nature:
        """Of a servo as it is built."""
        motor = drive.motor
        model = f"{motor.kt_nm_per_a:.5g} {motor.resistance_ohm:.5g} {deg_per_count:.5g} {place.top_deg_s:.5g}"
        return cls(place, max(drive.efficiency, 0.05), motor.kt_nm_per_a, model)


@dataclass(frozen=True, slots=True)
class Point:
    """A day, or a part of a busy one."""

    at: datetime
    model: str
    friction: dict[str, float]
    """Friction by cell, N·m at the motor; of cells that were gone through both ways."""
    effort: dict[str, float]
    """Current for the same move by cell, A: that of the harder way."""
    play: float | None
    """Counts that a reversal goes through before its load is on the teeth, where that is seen."""
    marks: int
    """Passages of the home mark."""
    off: float | None
    """Median of how far the count was off there."""
    moves: int

    def as_state(self) -> dict[str, Any]:
        """For keeping."""
        return {name: getattr(self, name) for name in Point.__slots__ if name != "at"} | {"at": self.at.isoformat()}

    @classmethod
    def from_state(cls, value: dict[str, Any]) -> Point:
        """As it was kept."""
        return cls(**{**value, "at": datetime.fromisoformat(value["at"])})


@dataclass(slots=True)
class Day:
    """What has been gathered since the last point."""

    began: datetime
    model: str
    cells: dict[str, list[float]] = field(default_factory=dict)
    """Samples by cell and way, such as `2/0+`."""
    play: list[float] = field(default_factory=list)
    off: list[int] = field(default_factory=list)
    moves: int = 0
    marks: int = 0

    def as_state(self) -> dict[str, Any]:
        """For keeping."""
        return {name: getattr(self, name) for name in Day.__slots__ if name != "began"} | {
            "began": self.began.isoformat()
        }

    @classmethod
    def from_state(cls, value: dict[str, Any]) -> Day:
        """As it was kept."""
        return cls(**{**value, "began": datetime.fromisoformat(value["began"])})

    def point(self, nature: Nature) -> Point:
        """What the day comes to."""
        friction, effort = {}, {}
        for cell in sorted({name[:-1] for name in self.cells}):
            up, down = self.cells.get(cell + "+"), self.cells.get(cell + "-")
            if up and down:
                up_a, down_a = median(up), median(down)
                friction[cell] = round(friction_a(up_a, down_a, nature.efficiency) * nature.kt_nm_a, DIGITS + 2)
                effort[cell] = round(max(abs(up_a), abs(down_a)), DIGITS)
        play = round(median(self.play), 2) if self.play else None
        off = float(median(self.off)) if self.off else None
        return Point(self.began, self.model, friction, effort, play, self.marks, off, self.moves)


class Diary:
    """The points of one servo, and the day that is being gathered."""

    def __init__(self) -> None:
        self.points: list[Point] = []
        self.day: Day | None = None
        self.begins: dict[str, datetime] = {}
        """From when on a measure is compared: a person has seen what was said of what was before."""
        self.said: dict[str, float] = {}
        """What was said of a measure, as a share of change."""
        self._pulls: dict[int, Pull] = {}
        self._last_way = 0

    def add(self, rows: Sequence[TraceRow], nature: Nature, at: datetime) -> None:
        """A normal motion has come to its proper end."""
        now = pull(rows)
        if now is None:
            self._last_way = 0
            return
        day = self._today(nature, at)
        day.moves += 1
        for sample in samples(rows, nature.place):
            name = sample.cell + ("+" if sample.way > 0 else "-")
            if name in day.cells or len(day.cells) < 2 * CELLS_MAX:
                _add(day.cells.setdefault(name, []), round(sample.current_a, DIGITS))
        opposite = self._pulls.get(-now.way)
        if opposite is not None and self._last_way:
            play = taken_up(rows, now, opposite, self._last_way)
            if play is not None:
                _add(day.play, round(play, 2))
        self._pulls[now.way] = now
        self._last_way = now.last_way

    def lost_sight(self) -> None:
        """Something else moved it: where its teeth lie is not known."""
        self._last_way = 0

    def passed_home(self, off_counts: int, nature: Nature, at: datetime) -> None:
        """The home mark was passed, and the count was so far off."""
        day = self._today(nature, at)
        day.marks += 1
        _add(day.off, off_counts)

    def due(self, nature: Nature, at: datetime) -> bool:
        """Whether the day that is being gathered is over."""
        day = self.day
        return day is not None and (
            day.began.date() != at.date() or day.moves >= MOVES_A_POINT or day.model != nature.model
        )

    def close_day(self, nature: Nature) -> Point | None:
        """Make a point of the day; None where it says nothing, or was of another model."""
        day, self.day = self.day, None
        if day is None or day.model != nature.model or not (day.moves or day.marks):
            return None
        point = day.point(nature)
        self.points = [*self.points, point][-POINTS_MAX:]
        return point

    def comparable(self, nature: Nature) -> list[Point]:
        """The points that can be compared with the newest."""
        found: list[Point] = []
        for point in reversed(self.points):
            if point.model != nature.model:
                break
            found.append(point)
        return found[::-1]

    def begin_anew(self, measure: str, at: datetime) -> None:
        """Compare a measure with what comes from now on."""
        self.begins[measure] = at
        self.said.pop(measure, None)

    def _today(self, nature: Nature, at: datetime) -> Day:
        if self.day is None:
            self.day = Day(at, nature.model)
        return self.day

    def as_state(self) -> dict[str, Any]:
        """The points and what was said, for keeping."""
        return {
            "points": [point.as_state() for point in self.points],
            "begins": {name: at.isoformat() for name, at in self.begins.items()},
            "said": self.said,
        }

    @classmethod
    def from_state(cls, value: dict[str, Any], day: dict[str, Any] | None) -> Diary:
        """As it was kept."""
        diary = cls()
        diary.points = [Point.from_state(one) for one in value.get("points", [])]
        diary.begins = {name: datetime.fromisoformat(at) for name, at in value.get("begins", {}).items()}
        diary.said = dict(value.get("said", {}))
        diary.day = Day.from_state(day) if day else None
        return diary


def _add(kept: list[T], value: T) -> None:
    kept.append(value)
    del kept[:-KEPT_A_CELL]
