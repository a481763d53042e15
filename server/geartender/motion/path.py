"""What a motion is made of: a state, the limits, and a path of pieces of constant jerk."""

import math
from bisect import bisect_right
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import accumulate

from geartender.errors import PlanError


@dataclass(frozen=True, slots=True)
class State:
    """Where something is and how it moves, in the caller's unit and its rates per second."""

    position: float
    velocity: float = 0.0
    acceleration: float = 0.0


@dataclass(frozen=True, slots=True)
class Limits:
    """Greatest magnitude of velocity, acceleration and jerk, the same in both directions."""

    velocity: float
    acceleration: float
    jerk: float


@dataclass(frozen=True, slots=True)
class Piece:
    """A stretch of constant jerk that lasts `duration` seconds from `start`."""

    duration: float
    start: State
    jerk: float

    def at(self, t: float) -> State:
        """State `t` seconds after the start of the piece, also beyond its end."""
        p, v, a, j = self.start.position, self.start.velocity, self.start.acceleration, self.jerk
        return State(p + t * (v + t * (a / 2 + t * j / 6)), v + t * (a + t * j / 2), a + t * j)

    def turning_times(self) -> list[float]:
        """Times inside the piece, ascending, at which the velocity passes through zero."""
        v, a, half_jerk = self.start.velocity, self.start.acceleration, self.jerk / 2
        return sorted(t for t in _roots(half_jerk, a, v) if 0 < t < self.duration)

    def turning_points(self) -> list[float]:
        """Positions inside the piece at which the velocity passes through zero, in the order in which they are reached."""
        return [self.at(t).position for t in self.turning_times()]


@dataclass(frozen=True, slots=True)
class Path:
    """Pieces of constant jerk that join without a step, then `end`, held from there on.

    `pieces` is empty when there is nothing to do. Pieces are never of zero duration.
    """

    start: State
    end: State
    pieces: tuple[Piece, ...]
    ends: tuple[float, ...]
    """Time in s from the start of the path at which each piece ends."""

    @property
    def duration(self) -> float:
        """Time in s until `end` is reached."""
        return self.ends[-1] if self.ends else 0.0

    def at(self, t: float) -> State:
        """State `t` seconds after the start: before it the start itself, after the path its end, held.

        An end that moves (a held velocity) goes on moving.
        """
        if math.isnan(t):
            raise PlanError("t", "must be a number of seconds, got nan")
        if t <= 0.0 and self.pieces:
            return self.start
        index = bisect_right(self.ends, t)
        if index < len(self.pieces):
            return self.pieces[index].at(t - self.ends[index - 1] if index else t)
        if self.end.velocity == 0.0:
            return self.end
        return State(self.end.position + self.end.velocity * (t - self.duration), self.end.velocity, 0.0)

    def extremes(self) -> tuple[float, float]:
        """Lowest and highest position from the start of the path to its end."""
        positions = [self.start.position, self.end.position]
        for piece in self.pieces:
            positions.append(piece.start.position)
            positions.extend(piece.turning_points())
        return min(positions), max(positions)


def path_of(start: State, end: State, pieces: Iterable[Piece]) -> Path:
    """The path made of `pieces`, with the time at which each ends."""
    kept = tuple(pieces)
    return Path(start, end, kept, tuple(accumulate(piece.duration for piece in kept)))


def _roots(a: float, b: float, c: float) -> list[float]:
    """Real roots of a·t² + b·t + c, in the form that loses no digits when b² is much larger than a·c."""
    discriminant = b * b - 4 * a * c
    if discriminant < 0.0:
        return []
    q = -(b + math.copysign(math.sqrt(discriminant), b)) / 2
    return [numerator / divisor for numerator, divisor in ((q, a), (c, q)) if divisor != 0.0]
