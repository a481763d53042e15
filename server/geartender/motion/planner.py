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
from collections.abc import Iterable
from dataclasses import dataclass

from geartender.errors import PlanError
from geartender.motion.path import Limits, Path, Piece, State, path_of
from geartender.motion.ramps import Phase, blend, change, into_limits, travel, within_acceleration
from geartender.motion.reach import Reach

# Two distances that differ by less than this, relative to the way covered, differ by rounding only: some fifty units in the
# last place, for the dozens of operations that either has been through, here or at the caller's.
SAME_DISTANCE = 1e-14
# The same for two positions as such, which have only been subtracted: four units in the last place.
SAME_POSITION = 9e-16
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
    duration = _number("duration", duration)
    course = _course(start, target, limits)
    time = (duration - course.entry_time) / course.unit
    if course.reach is None:
        if time < course.stop_time * (1 - DURATION_TOLERANCE):
            raise _too_short(duration, course.path(course.stop))
        return course.path([*course.stop, Phase(max(time - course.stop_time, 0.0), 0.0, 0.0)])
    farthest = course.reach.in_time(max(time, course.stop_time))
    if course.distance >= course.reach.distance(farthest):
        quickest = plan(start, target, limits)
        if duration < quickest.duration * (1 - DURATION_TOLERANCE):
            raise _too_short(duration, quickest)
        return quickest
    near, near_distance = course.stop, course.stop_distance
    if course.way * course.inner.velocity < 0.0:
        turn = course.reach.turn()
        if course.reach.distance(turn) <= course.distance:
            near, near_distance = course.reach.phases(turn), course.reach.distance(turn)
    share = (course.distance - near_distance) / (course.reach.distance(farthest) - near_distance)
    return course.path(blend(course.way * course.inner_a, near, course.reach.phases(farthest), share))


def stop_path(start: State, limits: Limits) -> Path:
    """The quickest path from `start` to rest; where it ends follows. Raises PlanError as `plan` does."""
    return plan_velocity(start, 0.0, limits)


def plan_velocity(start: State, velocity: float, limits: Limits) -> Path:
    """The quickest path from `start` to a held velocity, at which the path goes on for ever.

    Raises PlanError as `plan` does, and for a velocity above its limit.
    """
    start, limits = _checked(start, limits)
    velocity = _number("velocity", velocity)
    if abs(velocity) > limits.velocity:
        raise PlanError("velocity", f"must not be above its limit of {limits.velocity:g}, got {velocity:g}")
    unit, scale, _ = _units(limits)
    entry, v, a = within_acceleration(start.velocity / scale, start.acceleration / limits.acceleration)
    phases = [*entry, *change(v, a, velocity / scale)]
    way_there = travel(phases, start.velocity / scale, start.acceleration / limits.acceleration) * scale * unit
    end = State(start.position + way_there, velocity)
    return _finished(path_of(start, end, _pieces(start, phases, end, limits, unit, 1.0)))


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
    entry: list[Piece]
    entry_time: float
    inner: State
    inner_a: float
    distance: float
    stop: list[Phase]
    stop_time: float
    stop_distance: float
    reach: Reach | None
    """None where the quickest stop ends on the target."""

    def path(self, phases: Iterable[Phase]) -> Path:
        """The path in the caller's units, the entry in front."""
        end = State(self.target)
        pieces = _pieces(self.inner, phases, end, self.limits, self.unit, self.way)
        return _finished(path_of(self.start, end, [*self.entry, *pieces]))


def _course(start: State, target: float, limits: Limits) -> _Course:
    """Scale, enter the limits, stop, and see on which side of that stop the target lies."""
    start, limits = _checked(start, limits)
    target = _number("target", target)
    unit, scale, limit = _units(limits)
    v, a = start.velocity / scale, start.acceleration / limits.acceleration
    phases, inner_v, inner_a = into_limits(v, a, limit)
    inner, entry_time = start, 0.0
    entry: list[Piece] = []
    if phases:
        position = start.position + travel(phases, v, a) * scale * unit
        inner = State(position, inner_v * scale, inner_a * limits.acceleration)
        entry = _pieces(start, phases, inner, limits, unit, 1.0)
        entry_time = sum(phase.duration for phase in phases) * unit
    distance = (target - inner.position) / (scale * unit)
    stop = change(inner_v, inner_a, 0.0)
    stop_time = stop[0].duration + stop[1].duration + stop[2].duration
    stop_distance = travel(stop, inner_v, inner_a)
    rounding = SAME_POSITION * max(abs(inner.position), abs(target)) / (scale * unit)
    rounding += SAME_DISTANCE * (abs(distance) + abs(inner_v) * stop_time)
    ahead, way, reach = distance - stop_distance, 1.0, None
    if abs(ahead) > rounding:
        way = math.copysign(1.0, ahead)
        reach = Reach(way * inner_v, way * inner_a, limit)
    if way < 0.0:
        distance, stop, stop_distance = -distance, _mirrored(stop), -stop_distance
    return _Course(
        start,
        target,
        limits,
        unit,
        way,
        entry,
        entry_time,
        inner,
        inner_a,
        distance,
        stop,
        stop_time,
        stop_distance,
        reach,
    )


def _pieces(start: State, phases: Iterable[Phase], end: State, limits: Limits, unit: float, way: float) -> list[Piece]:
    """Phases as pieces in the caller's units, computed from the end backwards; those that do not last are left out.

    Backwards, because motions end slowly: what is rounded at high speed then does not add up over a long slow rest of the path.
    """
    top, full = way * limits.acceleration, way * limits.jerk
    lasting = [phase for phase in phases if phase.duration * unit > 0.0]
    pieces: list[Piece] = []
    x, v = 0.0, end.velocity
    for index in range(len(lasting) - 1, -1, -1):
        d, j = lasting[index].duration * unit, lasting[index].jerk * full
        a = lasting[index - 1].after * top if index else start.acceleration
        v -= d * (a + d * j / 2)
        x -= d * (v + d * (a / 2 + d * j / 6))
        pieces.append(Piece(d, State(end.position + x, v, a) if index else start, j))
    pieces.reverse()
    return pieces


def _mirrored(phases: list[Phase]) -> list[Phase]:
    return [Phase(duration, -jerk, -after) for duration, jerk, after in phases]


def _units(limits: Limits) -> tuple[float, float, float]:
    """The units of time and of velocity in which the limits of acceleration and jerk are 1, and the velocity limit in them."""
    unit = limits.acceleration / limits.jerk
    scale = limits.acceleration * unit
    if not 0.0 < scale * unit < math.inf or not 0.0 < limits.velocity / scale < math.inf:
        raise PlanError("limits", "are too far apart to compute with; check their units")
    return unit, scale, limits.velocity / scale


def _finished(path: Path) -> Path:
    reached = sum(abs(piece.start.position) + abs(piece.start.velocity) for piece in path.pieces)
    if not math.isfinite(reached + path.duration + abs(path.end.position)):
        raise PlanError("limits", "and state are too far apart to compute with; check their units")
    return path


def _too_short(duration: float, quickest: Path) -> PlanError:
    return PlanError("duration", f"must be at least {quickest.duration:.9g} s, the quickest path, got {duration:g}")


def _checked(start: State, limits: Limits) -> tuple[State, Limits]:
    """The same as finite floats, the limits above 0."""
    return (
        State(
            _number("start.position", start.position),
            _number("start.velocity", start.velocity),
            _number("start.acceleration", start.acceleration),
        ),
        Limits(
            _limit("limits.velocity", limits.velocity),
            _limit("limits.acceleration", limits.acceleration),
            _limit("limits.jerk", limits.jerk),
        ),
    )


def _number(field: str, value: float) -> float:
    try:
        number = float(value)
    except OverflowError:
        number = math.inf
    if not math.isfinite(number):
        raise PlanError(field, f"must be a finite number, got {number:g}")
    return number


def _limit(field: str, value: float) -> float:
    number = _number(field, value)
    if number <= 0.0:
        raise PlanError(field, f"must be above 0, got {number:g}")
    return number
