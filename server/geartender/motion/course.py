"""A planning problem made ready: scaled, brought into the limits, and turned so that the target lies ahead of the stop."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from geartender.motion.numbers import Scale, checked, finished, number, scale_of
from geartender.motion.path import Limits, Path, Piece, State, path_of
from geartender.motion.ramps import Phase, change, into_limits, travel
from geartender.motion.reach import Reach

# Two distances that differ by less than this, relative to the way covered, differ by rounding only: some fifty units in the
# last place, for the dozens of operations that either has been through, here or at the caller's.
SAME_DISTANCE = 1e-14
# The same for two positions as such, which have only been subtracted: four units in the last place.
SAME_POSITION = 9e-16


@dataclass(frozen=True, slots=True)
class Entry:
    """How the start comes into the limits, and the first state that can stay inside for good."""

    start: State
    pieces: list[Piece]
    inner: State
    v: float
    """Velocity of the inner state in the units of `ramps`."""
    a: float

    @property
    def duration(self) -> float:
        return sum(piece.duration for piece in self.pieces)


@dataclass(frozen=True, slots=True)
class Course:
    """A problem after its entry, in the units of `ramps`, turned by `way`: the target lies at or beyond the end of the stop."""

    entry: Entry
    target: float
    limits: Limits
    scale: Scale
    way: float
    distance: float
    stop: list[Phase]
    stop_distance: float
    reach: Reach | None
    """None where the quickest stop ends on the target."""

    @property
    def stop_time(self) -> float:
        return sum(phase.duration for phase in self.stop)

    def path(self, phases: Iterable[Phase]) -> Path:
        """The phases as a path in the caller's units, the entry in front."""
        end = State(self.target)
        pieces = pieces_to(end, self.entry.inner, phases, self.limits, self.scale, self.way)
        return finished(path_of(self.entry.start, end, [*self.entry.pieces, *pieces]))


def course_of(start: State, target: float, limits: Limits) -> Course:
    """The course from a start to a target. Raises PlanError for what cannot be computed with."""
    start, limits = checked(start, limits)
    target = number("target", target)
    scale = scale_of(limits)
    entry = _entry(start, limits, scale)
    stop = change(entry.v, entry.a, 0.0)
    distance, stop_distance = (target - entry.inner.position) / scale.length, travel(stop, entry.v, entry.a)
    ahead = distance - stop_distance
    covered = abs(distance) + abs(entry.v) * sum(phase.duration for phase in stop)
    positions = max(abs(entry.inner.position), abs(target)) / scale.length
    if abs(ahead) <= SAME_DISTANCE * covered + SAME_POSITION * positions:
        return Course(entry, target, limits, scale, 1.0, distance, stop, stop_distance, None)
    way = math.copysign(1.0, ahead)
    reach = Reach(way * entry.v, way * entry.a, scale.velocity_limit)
    stop = [Phase(duration, way * jerk, way * after) for duration, jerk, after in stop]
    return Course(entry, target, limits, scale, way, way * distance, stop, way * stop_distance, reach)


def _entry(start: State, limits: Limits, scale: Scale) -> Entry:
    v, a = start.velocity / scale.velocity, start.acceleration / limits.acceleration
    phases, inner_v, inner_a = into_limits(v, a, scale.velocity_limit)
    if not phases:
        return Entry(start, [], start, v, a)
    position = start.position + travel(phases, v, a) * scale.length
    inner = State(position, inner_v * scale.velocity, inner_a * limits.acceleration)
    return Entry(start, pieces_to(inner, start, phases, limits, scale, 1.0), inner, inner_v, inner_a)


def pieces_to(
    end: State, start: State, phases: Iterable[Phase], limits: Limits, scale: Scale, way: float
) -> list[Piece]:
    """Phases from `start` as pieces in the caller's units, computed from `end` backwards; those of no duration left out.

    Backwards, because motions end slowly: what is rounded at high speed then does not add up over a long slow rest.
    """
    top, full = way * limits.acceleration, way * limits.jerk
    lasting: Sequence[Phase] = [phase for phase in phases if phase.duration * scale.time > 0.0]
    pieces: list[Piece] = []
    x, v = 0.0, end.velocity
    for index in range(len(lasting) - 1, -1, -1):
        d, j = lasting[index].duration * scale.time, lasting[index].jerk * full
        a = lasting[index - 1].after * top if index else start.acceleration
        v -= d * (a + d * j / 2)
        x -= d * (v + d * (a / 2 + d * j / 6))
        pieces.append(Piece(d, State(end.position + x, v, a) if index else start, j))
    pieces.reverse()
    return pieces
