"""The judge of random plans finds fault where there is one."""

import math
from dataclasses import replace

import pytest

from geartender.motion import Limits, Path, Piece, State, plan
from tests.motion import random_plans
from tests.motion.random_plans import Problem, Worst, judge

LIMITS = Limits(velocity=60, acceleration=240, jerk=2400)
GOOD = plan(State(0), 90, LIMITS)


def judged(path: Path, target: float = 90, limits: Limits = LIMITS) -> Worst:
    worst = Worst()
    judge(Problem(path.start, target, limits), path, worst)
    return worst


def test_a_good_path_has_no_fault() -> None:
    worst = judged(GOOD)
    assert max(worst.step, worst.end, worst.beyond_limits) < 1e-15


@pytest.mark.parametrize(
    "limits", [replace(LIMITS, velocity=59), replace(LIMITS, acceleration=230), replace(LIMITS, jerk=2300)]
)
def test_a_path_beyond_a_limit_is_found(limits: Limits) -> None:
    assert judged(GOOD, limits=limits).beyond_limits > 0.01


def test_a_path_that_misses_the_target_is_found() -> None:
    assert judged(GOOD, target=90.01).end > 1e-5


def test_a_path_that_does_not_join_is_found() -> None:
    first, *others = GOOD.pieces
    assert judged(replace(GOOD, pieces=(Piece(first.duration * 1.001, first.start, first.jerk), *others))).step > 1e-4


def test_dawdling_outside_the_limits_is_found() -> None:
    coasting = Piece(1.0, State(0, 80), 0.0)
    path = plan(State(80, 80), 300, LIMITS)
    assert judged(replace(path, start=coasting.start, pieces=(coasting, *path.pieces)), 300).beyond_limits == math.inf


def test_a_slower_plan_is_found() -> None:
    worst = Worst()
    problem = Problem(State(0, 10), 30, LIMITS)
    reference = random_plans.oracle_duration(problem)
    assert reference is not None
    random_plans.compare(
        problem, plan(problem.start, 30, replace(LIMITS, jerk=2399)).duration, reference * 0.9999, worst
    )
    assert worst.slower_than_oracle > random_plans.SLOWER_ALLOWED


def test_the_problems_are_the_same_for_the_same_seed_and_of_every_kind() -> None:
    problems = list(random_plans.problems(11, 700))
    assert problems == list(random_plans.problems(11, 700))
    assert any(abs(p.start.velocity) > p.limits.velocity for p in problems)
    assert any(abs(p.start.acceleration) > p.limits.acceleration for p in problems)
    assert any(p.target == p.start.position for p in problems)
    assert any(p.start.acceleration != 0 == p.start.velocity for p in problems)
