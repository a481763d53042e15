"""The quickest path to rest at a target, from any state, within limits of velocity, acceleration and jerk.

Why it is the quickest. The limits are convex, so for a given duration the positions at which one can be at rest fill an
interval, and since one may always wait, the interval only grows with the duration. The least duration is therefore the
one at which the target becomes the far end of the interval. The far end is reached by the quickest rise of velocity, given
up at some moment for the quickest stop, and everything about that path follows in closed form from its duration
(`reach`): one unknown, one monotone equation.

A start outside the limits is first brought into them as quickly as possible (`ramps.into_limits`); from there on the path
is the quickest of those that stay inside.
"""

from geartender.errors import PlanError
from geartender.motion.course import course_of, pieces_to
from geartender.motion.numbers import checked, finished, number, scale_of
from geartender.motion.path import Limits, Path, State, path_of
from geartender.motion.ramps import Phase, blend, change, travel, within_acceleration

# A wanted duration may fall short of the least one by this much, relative to it: whoever computed it as the largest of
# several least durations must not be refused for its last digit.
DURATION_TOLERANCE = 1e-9


def plan(start: State, target: float, limits: Limits) -> Path:
    """The quickest path from `start` to rest at `target`.

    Units are the caller's. A start outside the limits returns into them as quickly as possible; the path then stays inside.
    Raises PlanError for a number that is not finite or a limit that is not positive.
    """
    course = course_of(start, target, limits)
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
    duration = number("duration", duration)
    course = course_of(start, target, limits)
    time = (duration - course.entry.duration) / course.scale.time
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
    if course.way * course.entry.v < 0.0:
        turn = course.reach.turn()
        if course.reach.distance(turn) <= course.distance:
            near, near_distance = course.reach.phases(turn), course.reach.distance(turn)
    share = (course.distance - near_distance) / (course.reach.distance(farthest) - near_distance)
    return course.path(blend(course.way * course.entry.a, near, course.reach.phases(farthest), share))


def stop_path(start: State, limits: Limits) -> Path:
    """The quickest path from `start` to rest; where it ends follows. Raises PlanError as `plan` does."""
    return plan_velocity(start, 0.0, limits)


def plan_velocity(start: State, velocity: float, limits: Limits) -> Path:
    """The quickest path from `start` to a held velocity, at which the path goes on for ever.

    Raises PlanError as `plan` does, and for a velocity above its limit.
    """
    start, limits = checked(start, limits)
    velocity = number("velocity", velocity)
    if abs(velocity) > limits.velocity:
        raise PlanError("velocity", f"must not be above its limit of {limits.velocity:g}, got {velocity:g}")
    scale = scale_of(limits)
    v, a = start.velocity / scale.velocity, start.acceleration / limits.acceleration
    entry, inner_v, inner_a = within_acceleration(v, a)
    phases = [*entry, *change(inner_v, inner_a, velocity / scale.velocity)]
    end = State(start.position + travel(phases, v, a) * scale.length, velocity)
    return finished(path_of(start, end, pieces_to(end, start, phases, limits, scale, 1.0)))


def _too_short(duration: float, quickest: Path) -> PlanError:
    return PlanError("duration", f"must be at least {quickest.duration:.9g} s, the quickest path, got {duration:g}")
