"""What a caller hands in, checked: finite numbers, limits above zero, and units that the arithmetic can bear."""

import math
from typing import NamedTuple

from geartender.errors import PlanError
from geartender.motion.path import Limits, Path, State


class Scale(NamedTuple):
    """The caller's units seen from those of `ramps`, in which the limits of acceleration and jerk are 1."""

    time: float
    velocity: float
    length: float
    velocity_limit: float
    """In the units of `ramps`: the one number that a problem keeps."""


def scale_of(limits: Limits) -> Scale:
    """The scale of some limits."""
    time = limits.acceleration / limits.jerk
    velocity = limits.acceleration * time
    length = velocity * time
    if not 0.0 < length < math.inf or not 0.0 < limits.velocity / velocity < math.inf:
        raise PlanError("limits", "are too far apart to compute with; check their units")
    return Scale(time, velocity, length, limits.velocity / velocity)


def checked(start: State, limits: Limits) -> tuple[State, Limits]:
    """The same as finite floats, the limits above 0."""
    return (
        State(
            number("start.position", start.position),
            number("start.velocity", start.velocity),
            number("start.acceleration", start.acceleration),
        ),
        Limits(
            _limit("limits.velocity", limits.velocity),
            _limit("limits.acceleration", limits.acceleration),
            _limit("limits.jerk", limits.jerk),
        ),
    )


def number(field: str, value: float) -> float:
    """The value as a finite float."""
    try:
        result = float(value)
    except OverflowError:
        result = math.inf
    if not math.isfinite(result):
        raise PlanError(field, f"must be a finite number, got {result:g}")
    return result


def _limit(field: str, value: float) -> float:
    result = number(field, value)
    if result <= 0.0:
        raise PlanError(field, f"must be above 0, got {result:g}")
    return result


def finished(path: Path) -> Path:
    """The path, if every number in it is finite."""
    reached = sum(abs(piece.start.position) + abs(piece.start.velocity) for piece in path.pieces)
    if not math.isfinite(reached + path.duration + abs(path.end.position)):
        raise PlanError("limits", "and state are too far apart to compute with; check their units")
    return path
