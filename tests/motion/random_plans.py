"""Seeded random planning problems, and a judge of paths that knows only the problem, not how the planner works."""

import math
import random
from collections.abc import Iterator
from dataclasses import dataclass, field, fields
from fractions import Fraction

import ruckig

from geartender.motion import Limits, Path, State, plan, stretch

# Rounding allowed where a path must join, end and stay inside, relative to the sizes that occur on it. A path has up to a dozen
# pieces of some ten operations each, so a hundred units in the last place is all that rounding can explain.
ROUNDING = 1e-13
# How much slower than the reference library a plan may be, relative.
SLOWER_ALLOWED = 1e-8


@dataclass(frozen=True, slots=True)
class Problem:
    start: State
    target: float
    limits: Limits


@dataclass(slots=True)
class Worst:
    """The worst figures seen, each relative; and how many plans they are of."""

    plans: int = 0
    compared: int = 0
    slower_than_oracle: float = -math.inf
    quicker_than_oracle: float = -math.inf
    step: float = 0.0
    end: float = 0.0
    beyond_limits: float = 0.0
    problems: dict[str, Problem] = field(default_factory=dict)

    def note(self, name: str, value: float, problem: Problem) -> None:
        if math.isnan(value) or value > getattr(self, name):
            setattr(self, name, value)
            self.problems[name] = problem

    def lines(self) -> Iterator[str]:
        for item in fields(self):
            if item.name != "problems":
                value = getattr(self, item.name)
                seen = self.problems.get(item.name)
                yield f"{item.name.replace('_', ' '):22} {value:<12.4g} {seen or ''}".rstrip()


def problems(seed: int, count: int) -> Iterator[Problem]:
    """`count` problems: from rest, moving, on the limits, outside them, nowhere to go, at ordinary and at extreme scales."""
    rng = random.Random(seed)
    kinds = (_ordinary, _ordinary, _from_rest, _outside, _on_the_limits, _extreme_scale, _near_the_stop)
    for index in range(count):
        yield kinds[index % len(kinds)](rng)


def _limits(rng: random.Random, low: float = -1.0, high: float = 3.0) -> Limits:
    return Limits(*(10 ** rng.uniform(low, high) for _ in range(3)))


def _natural_length(rng: random.Random, limits: Limits) -> float:
    """A distance of an order at which the limits matter, with either sign; sometimes none at all."""
    v, a, j = limits.velocity, limits.acceleration, limits.jerk
    length = rng.choice((v * (v / a + a / j), a**3 / j**2, v * math.sqrt(v / j), v * a / j))
    return rng.choice((-1.0, 1.0, 1.0, -1.0, 0.0)) * length * 10 ** rng.uniform(-2, 1.5)


def _with(rng: random.Random, limits: Limits, v: float, a: float) -> Problem:
    position = rng.choice((0.0, rng.uniform(-1, 1) * limits.velocity))
    return Problem(State(position, v, a), position + _natural_length(rng, limits), limits)


def _ordinary(rng: random.Random) -> Problem:
    limits = _limits(rng)
    v, a = limits.velocity, limits.acceleration
    return _with(rng, limits, rng.uniform(-v, v), rng.uniform(-a, a))


def _from_rest(rng: random.Random) -> Problem:
    return _with(rng, _limits(rng), 0.0, 0.0)


def _outside(rng: random.Random) -> Problem:
    limits = _limits(rng)
    v, a = limits.velocity, limits.acceleration
    return _with(rng, limits, 3 * rng.uniform(-v, v), 3 * rng.uniform(-a, a))


def _on_the_limits(rng: random.Random) -> Problem:
    limits = _limits(rng)
    v = rng.choice((-1.0, 0.0, 1.0)) * limits.velocity
    a = rng.choice((-1.0, 0.0, 1.0)) * limits.acceleration
    if rng.random() < 0.5:  # just able to keep the velocity limit
        v = math.copysign(limits.velocity, a) - a * abs(a) / (2 * limits.jerk)
    return _with(rng, limits, v, a)


def _extreme_scale(rng: random.Random) -> Problem:
    limits = _limits(rng, -3.0, 6.0)
    v, a = limits.velocity, limits.acceleration
    return _with(rng, limits, rng.uniform(-1.2, 1.2) * v, rng.uniform(-1.2, 1.2) * a)


def _near_the_stop(rng: random.Random) -> Problem:
    """A target a hair away from where the quickest stop would end."""
    problem = _ordinary(rng)
    stop = oracle_stop(problem)
    hair = rng.choice((0.0, 1.0, -1.0)) * 10 ** rng.uniform(-15, -3) * abs(stop - problem.start.position)
    return Problem(problem.start, stop + hair, problem.limits)


def _asked_of_oracle(problem: Problem) -> ruckig.InputParameter:
    asked = ruckig.InputParameter(1)
    start, limits = problem.start, problem.limits
    asked.current_position, asked.current_velocity = [start.position], [start.velocity]
    asked.current_acceleration = [start.acceleration]
    asked.target_position, asked.target_velocity, asked.target_acceleration = [problem.target], [0.0], [0.0]
    asked.max_velocity, asked.max_acceleration, asked.max_jerk = [limits.velocity], [limits.acceleration], [limits.jerk]
    return asked


ORACLE = ruckig.Ruckig(1)


def oracle_duration(problem: Problem) -> float | None:
    """Duration found by the reference library, or None where it finds no path."""
    path = _oracle_path(problem)
    return None if path is None else path.duration


def _oracle_path(problem: Problem) -> ruckig.Trajectory | None:
    path = ruckig.Trajectory(1)
    try:
        result = ORACLE.calculate(_asked_of_oracle(problem), path)
    except ruckig.RuckigError:
        return None
    return path if result == ruckig.Result.Working else None


def oracle_end(problem: Problem) -> float:
    """Where the reference library's path really ends, its pieces followed in exact arithmetic.

    The library is content with an end that is some 1e-12 off. Where the last hair of the way is what takes the time, as close
    beyond the end of the quickest stop, that makes it look quicker.
    """
    path = _oracle_path(problem)
    assert path is not None
    profile = path.profiles[0][0]
    pieces = [*zip(profile.brake.t, profile.brake.j, strict=True), *zip(profile.t, profile.j, strict=True)]
    p, v, a = (
        Fraction(value) for value in (problem.start.position, problem.start.velocity, problem.start.acceleration)
    )
    for t, j in ((Fraction(t), Fraction(j)) for t, j in pieces):
        p, v, a = p + t * (v + t * (a / 2 + t * j / 6)), v + t * (a + t * j / 2), a + t * j
    return float(p)


def oracle_stop(problem: Problem) -> float:
    """Where the quickest stop ends, by the reference library."""
    asked = _asked_of_oracle(problem)
    asked.control_interface = ruckig.ControlInterface.Velocity
    path = ruckig.Trajectory(1)
    ORACLE.calculate(asked, path)
    return float(path.at_time(path.duration)[0][0])


def judge(problem: Problem, path: Path, worst: Worst) -> None:
    """Enter into `worst` how far the path is from joining, ending at rest on the target, and keeping the limits."""
    worst.plans += 1
    limits = problem.limits
    states = [piece.start for piece in path.pieces] + [path.end]
    covered = sum(piece.duration * abs(piece.start.velocity) for piece in path.pieces)
    size = State(
        max(abs(state.position) for state in states) + abs(path.start.position) + covered,
        max(limits.velocity, *(abs(state.velocity) for state in states)),
        max(limits.acceleration, abs(path.start.acceleration)),
    )
    worst.note("step", _difference(path.start, states[0], size) if path.pieces else 0.0, problem)
    for piece, following in zip(path.pieces, states[1:], strict=True):
        name = "end" if piece is path.pieces[-1] else "step"
        worst.note(name, _difference(piece.at(piece.duration), following, size), problem)
    worst.note("end", _difference(path.end, State(problem.target), size), problem)
    worst.note("beyond_limits", beyond_limits(path, limits), problem)


def _difference(one: State, other: State, size: State) -> float:
    return max(
        abs(one.position - other.position) / size.position if size.position else 0.0,
        abs(one.velocity - other.velocity) / size.velocity,
        abs(one.acceleration - other.acceleration) / size.acceleration,
    )


def beyond_limits(path: Path, limits: Limits) -> float:
    """Greatest excess over a limit, relative to it, from the moment on at which the state can stay within all of them.

    Before that moment the path may only head back with full jerk or full acceleration; anything else counts as infinite.
    """
    inside = False
    worst = 0.0
    for piece in path.pieces:
        worst = max(worst, abs(piece.jerk) / limits.jerk - 1)
        first, last = piece.start, piece.at(piece.duration)
        inside = inside or _can_stay(first, limits)
        if (
            not inside
            and abs(piece.jerk) < limits.jerk * (1 - 1e-9)
            and abs(first.acceleration) < limits.acceleration * (1 - 1e-9)
        ):
            return math.inf
        if not inside:
            continue
        seen = [first, last]
        if piece.jerk != 0.0 and 0 < -first.acceleration / piece.jerk < piece.duration:
            seen.append(piece.at(-first.acceleration / piece.jerk))
        for state in seen:
            worst = max(
                worst, abs(state.velocity) / limits.velocity - 1, abs(state.acceleration) / limits.acceleration - 1
            )
    return worst


def _can_stay(state: State, limits: Limits) -> bool:
    v, a = state.velocity, state.acceleration
    peak = v + a * abs(a) / (2 * limits.jerk)
    most = limits.velocity * (1 + 1e-12)
    return abs(a) <= limits.acceleration * (1 + 1e-12) and abs(v) <= most and abs(peak) <= most


def verify(seed: int, count: int) -> Worst:
    """Plan `count` random problems, judge every path and compare its duration with the reference library's."""
    worst = Worst()
    for problem in problems(seed, count):
        path = plan(problem.start, problem.target, problem.limits)
        judge(problem, path, worst)
        judge(problem, stretch(problem.start, problem.target, problem.limits, path.duration * 1.5), worst)
        reference = oracle_duration(problem)
        if reference:
            compare(problem, path.duration, reference, worst)
    return worst


def compare(problem: Problem, duration: float, reference: float, worst: Worst) -> None:
    """Enter into `worst` how much slower or quicker than the reference a plan is."""
    worst.compared += 1
    if duration / reference - 1 > SLOWER_ALLOWED:
        duration = plan(problem.start, oracle_end(problem), problem.limits).duration
    worst.note("slower_than_oracle", duration / reference - 1, problem)
    worst.note("quicker_than_oracle", 1 - duration / reference, problem)
