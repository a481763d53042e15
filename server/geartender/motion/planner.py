"""The quickest path to rest at a target, from any state, within limits of velocity, acceleration and jerk.

Why it is the quickest. The limits are convex, so for a given duration the positions at which one can be at rest fill an
interval, and since one may always wait, the interval only grows with the duration. The least duration is therefore the
one at which the target becomes the far end of the interval. The far end is reached by the quickest rise of velocity, given up
at some moment for the quickest stop, and everything about that path follows in closed form from its duration (`reach`): one
unknown, one monotone equation.

A start outside the limits is first brought into them as quickly as possible (`ramps.into_limits`); from there on the path is
the quickest of those that stay inside.
"""

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from geartender.errors import PlanError
from geartender.motion.path import Limits, Path, Piece, State, path_of
from geartender.motion.ramps import Phase, blend, change, into_limits, travel, within_acceleration
from geartender.motion.reach import Reach

# Difference of two distances, relative to the numbers it came from, that is nothing but rounding: four units in the last place.
ROUNDING = 9e-16
# A wanted duration may fall short of the least one by this much, relative to it: whoever computed it as the largest of
# several least durations must not be refused for its last digit.
DURATION_TOLERANCE = 1e-9


def plan(start: State, target: float, limits: Limits) -> Path:
    """The quickest path from `start` to rest at `target`.

    Units are the caller's. A start outside the limits returns into them as quickly as possible; the path then stays inside.
    Raises PlanError for a number that is not finite or a limit that is not positive.
    """
    course = _course(start, target, limits)
    if course.reach is None:
        return course.path(course.stop)
    shape = course.reach.to_distance(course.distance, course.stop_time, course.stop_distance)
    return course.path(course.reach.phases(shape))


def stretch(start: State, target: float, limits: Limits, duration: float) -> Path:
    """A path from `start` to rest at `target` that takes `duration` seconds, which must be enough for the quickest one.

    It blends two paths of that duration: one that comes to rest early and waits, and the one that gets farthest. Limits are
    convex, so the blend keeps them. It turns round only where the quickest path has to, and never farther out than the
    quickest stop. From rest it is the farthest path made smaller, so that speed, acceleration and jerk all fall below their
    limits together. Raises PlanError as `plan` does, and for a duration that is too short.
    """
    _require_finite("duration", duration)
    course = _course(start, target, limits)
    time = (duration - course.entry_time) / course.unit
    if course.reach is None:
        if time < course.stop_time * (1 - DURATION_TOLERANCE):
            raise _too_short(duration, course.path(course.stop))
        return course.path(_lasting(course.stop, time))
    farthest = course.reach.in_time(max(time, course.stop_time))
    if course.distance >= course.reach.distance(farthest):
        quickest = plan(start, target, limits)
        if duration < quickest.duration * (1 - DURATION_TOLERANCE):
            raise _too_short(duration, quickest)
        return quickest
    near, near_distance = course.stop, course.stop_distance
    turn = course.reach.turn()
    if near_distance < course.reach.distance(turn) <= course.distance:
        near, near_distance = course.reach.phases(turn), course.reach.distance(turn)
    share = (course.distance - near_distance) / (course.reach.distance(farthest) - near_distance)
    return course.path(blend(_lasting(near, time), course.reach.phases(farthest), share))


def _lasting(phases: list[Phase], time: float) -> list[Phase]:
    """The phases, then waiting at rest until `time` is over."""
    return [*phases, Phase(max(time - sum(phase.duration for phase in phases), 0.0), 0.0, 0.0)]


def stop_path(start: State, limits: Limits) -> Path:
    """The quickest path from `start` to rest; where it ends follows. Raises PlanError as `plan` does."""
    return plan_velocity(start, 0.0, limits)


def plan_velocity(start: State, velocity: float, limits: Limits) -> Path:
    """The quickest path from `start` to a held velocity, at which the path goes on for ever.

    Raises PlanError as `plan` does, and for a velocity above its limit.
    """
    _require_usable(start, limits)
    _require_finite("velocity", velocity)
    if abs(velocity) > limits.velocity:
        raise PlanError("velocity", f"must not be above its limit of {limits.velocity:g}, got {velocity:g}")
    unit = _time_unit(limits)
    scale = limits.acceleration * unit
    entry, v, a = within_acceleration(start.velocity / scale, start.acceleration / limits.acceleration)
    pieces = list(_pieces(start, [*entry, *change(v, a, velocity / scale)], limits, unit, 1.0))
    last = pieces[-1].at(pieces[-1].duration).position if pieces else start.position
    return _finished(path_of(start, State(last, velocity, 0.0), pieces))


@dataclass(frozen=True, slots=True)
class _Course:
    """A problem in the units of `ramps`, seen from `inner`, the first state that can stay within the limits.

    Turned by `way` so that the target lies beyond the end of the quickest stop.
    """

    start: State
    target: float
    limits: Limits
    unit: float
    way: float
    entry: tuple[Piece, ...]
    entry_time: float
    inner: State
    distance: float
    stop: list[Phase]
    stop_time: float
    stop_distance: float
    reach: Reach | None
    """None where the quickest stop ends on the target."""

    def path(self, phases: Iterable[Phase]) -> Path:
        """The path in the caller's units, the entry in front."""
        pieces = _pieces(self.inner, phases, self.limits, self.unit, self.way)
        return _finished(path_of(self.start, State(self.target), (*self.entry, *pieces)))


def _course(start: State, target: float, limits: Limits) -> _Course:
    """Scale, enter the limits, stop, and see on which side of that stop the target lies."""
    _require_usable(start, limits)
    _require_finite("target", target)
    unit = _time_unit(limits)
    scale = limits.acceleration * unit
    limit = limits.velocity / scale
    v, a = start.velocity / scale, start.acceleration / limits.acceleration
    phases, inner_v, inner_a = into_limits(v, a, limit)
    inner, entry_time = start, 0.0
    entry: tuple[Piece, ...] = ()
    if phases:
        entry = tuple(_pieces(start, phases, limits, unit, 1.0))
        entry_time = sum(phase.duration for phase in phases) * unit
        # Not what the last piece of the entry ends with: that carries the rounding of a start that may be far outside.
        position = start.position + travel(phases, v, a) * scale * unit
        inner = State(position, inner_v * scale, inner_a * limits.acceleration)
    distance = (target - inner.position) / (scale * unit)
    stop = change(inner_v, inner_a, 0.0)
    stop_time = stop[0].duration + stop[1].duration + stop[2].duration
    stop_distance = travel(stop, inner_v, inner_a)
    size = max(abs(inner.position), abs(target)) / (scale * unit) + abs(distance) + abs(inner_v) * stop_time
    ahead, way, reach = distance - stop_distance, 1.0, None
    if abs(ahead) > ROUNDING * size:
        way = math.copysign(1.0, ahead)
        reach = Reach(way * inner_v, way * inner_a, limit)
    if way < 0.0:
        distance, stop, stop_distance = -distance, _mirrored(stop), -stop_distance
    return _Course(
        start, target, limits, unit, way, entry, entry_time, inner, distance, stop, stop_time, stop_distance, reach
    )


def _pieces(start: State, phases: Iterable[Phase], limits: Limits, unit: float, way: float) -> Iterator[Piece]:
    """Phases as pieces in the caller's units; those that do not last are left out."""
    x, state = 0.0, start
    top, full = way * limits.acceleration, way * limits.jerk
    for duration, jerk, after in phases:
        d = duration * unit
        if d <= 0.0:
            continue
        j = jerk * full
        yield Piece(d, state, j)
        v, a = state.velocity, state.acceleration
        x += d * (v + d * (a / 2 + d * j / 6))
        state = State(start.position + x, v + d * (a + d * j / 2), after * top)


def _mirrored(phases: list[Phase]) -> list[Phase]:
    return [Phase(duration, -jerk, -after) for duration, jerk, after in phases]


def _time_unit(limits: Limits) -> float:
    unit = limits.acceleration / limits.jerk
    if not 0.0 < limits.acceleration * unit * unit < math.inf:
        raise PlanError("limits", "are too far apart to compute with; check their units")
    return unit


def _finished(path: Path) -> Path:
    if not math.isfinite(path.duration + path.end.position):
        raise PlanError("limits", "and state are too far apart to compute with; check their units")
    return path


def _too_short(duration: float, quickest: Path) -> PlanError:
    return PlanError("duration", f"must be at least {quickest.duration:.9g} s, the quickest path, got {duration:g}")


def _require_usable(start: State, limits: Limits) -> None:
    for name in ("position", "velocity", "acceleration"):
        _require_finite(f"start.{name}", getattr(start, name))
    for name in ("velocity", "acceleration", "jerk"):
        value = getattr(limits, name)
        if not 0.0 < value < math.inf:
            raise PlanError(f"limits.{name}", f"must be a finite number above 0, got {value:g}")


def _require_finite(field: str, value: float) -> None:
    if not math.isfinite(value):
        raise PlanError(field, f"must be a finite number, got {value:g}")
