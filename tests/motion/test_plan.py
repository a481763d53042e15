"""The quickest path to rest, from any state: it joins, keeps the limits, ends on the target, and nothing is quicker."""

import math

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from geartender.errors import GeartenderError, PlanError
from geartender.motion import Limits, State, plan
from tests.motion import random_plans
from tests.motion.random_plans import Problem, Worst, judge

LIMITS = Limits(velocity=60, acceleration=240, jerk=2400)
SCALES = st.floats(-3, 6).map(lambda exponent: 10**exponent)
SHARES = st.one_of(st.sampled_from((0.0, 1.0, -1.0)), st.floats(-3, 3))


def assert_good(worst: Worst) -> None:
    figures = "\n".join(worst.lines())
    assert worst.step <= random_plans.ROUNDING, figures
    assert worst.end <= random_plans.ROUNDING, figures
    assert worst.beyond_limits <= random_plans.ROUNDING, figures
    assert worst.slower_than_oracle <= random_plans.SLOWER_ALLOWED, figures


def test_random_plans_are_valid_and_never_slower_than_the_reference_library() -> None:
    worst = random_plans.verify(seed=20_261, count=2_000)
    assert_good(worst)
    assert worst.compared > 1_500  # the library must have had its say


@pytest.mark.slow
@pytest.mark.timeout(900)
def test_a_hundred_thousand_random_plans_are_valid_and_never_slower_than_the_reference_library() -> None:
    assert_good(random_plans.verify(seed=7, count=100_000))


@given(SCALES, SCALES, SCALES, SHARES, SHARES, st.floats(-50, 50))
@example(1.0, 1.0, 1.0, 0.0, 0.0, 0.0)
@example(1e-3, 1e6, 1e-3, 3.0, -3.0, 1.0)
def test_a_plan_is_valid_at_every_scale_and_from_every_state(
    velocity: float, acceleration: float, jerk: float, speed_share: float, acceleration_share: float, distance: float
) -> None:
    limits = Limits(velocity, acceleration, jerk)
    start = State(0.0, speed_share * velocity, acceleration_share * acceleration)
    problem = Problem(start, distance * velocity * (velocity / acceleration + acceleration / jerk), limits)
    worst = Worst()
    judge(problem, plan(start, problem.target, limits), worst)
    assert_good(worst)


def test_a_plan_to_where_one_already_rests_takes_no_time() -> None:
    path = plan(State(12.5), 12.5, LIMITS)
    assert path.duration == 0.0
    assert path.pieces == ()
    assert path.at(0.0) == path.at(1.0) == State(12.5)
    assert path.extremes() == (12.5, 12.5)


def test_from_the_target_with_speed_it_stops_beyond_and_comes_back() -> None:
    path = plan(State(5, 30), 5, LIMITS)
    low, high = path.extremes()
    assert low == 5
    assert high > 5
    assert path.at(path.duration) == State(5)


def test_a_target_at_the_end_of_the_quickest_stop_is_reached_by_that_stop() -> None:
    # From 60 at 240/s and 2400/s²: 0.35 s and 10.5, by the closed form of a symmetric ramp.
    path = plan(State(0, 60), 10.5, LIMITS)
    assert path.duration == pytest.approx(0.35, rel=1e-12)
    assert path.extremes() == (0, 10.5)


@pytest.mark.parametrize("mirror", [1, -1])
def test_above_the_speed_limit_it_brakes_at_once_and_stays_below_afterwards(mirror: int) -> None:
    path = plan(State(0, 90 * mirror), 500 * mirror, LIMITS)
    assert path.pieces[0].jerk == -2400 * mirror
    speeds = [mirror * path.at(path.duration * share / 1000).velocity for share in range(1001)]
    first_within = next(index for index, speed in enumerate(speeds) if speed <= 60)
    assert speeds[: first_within + 1] == sorted(speeds[: first_within + 1], reverse=True)
    assert max(speeds[first_within:]) <= 60 * (1 + 1e-12)


def test_an_acceleration_that_must_carry_the_speed_over_its_limit_is_taken_away_at_full_jerk() -> None:
    path = plan(State(0, 55, 240), 500, LIMITS)  # 55 + 240²/4800 = 67
    assert path.pieces[0].jerk == -2400
    assert max(path.at(path.duration * share / 1000).velocity for share in range(1001)) == pytest.approx(67, rel=1e-3)


def test_the_speed_limit_in_the_other_direction_is_kept_when_braking_hard_into_it() -> None:
    # Full braking would go through the tiny speed limit and out on the other side.
    limits = Limits(velocity=0.1, acceleration=100, jerk=10)
    path = plan(State(0, 50), 0, limits)
    after = [piece.start.velocity for piece in path.pieces[4:]]
    assert after
    assert max(map(abs, after)) <= 0.1 * (1 + 1e-12)


def test_mirrored_problems_have_mirrored_paths() -> None:
    there, back = plan(State(1, 20, -100), 40, LIMITS), plan(State(-1, -20, 100), -40, LIMITS)
    assert [piece.duration for piece in there.pieces] == [piece.duration for piece in back.pieces]
    assert [piece.jerk for piece in there.pieces] == [-piece.jerk for piece in back.pieces]


def test_units_are_the_callers_own() -> None:
    per_degree = math.pi / 180
    degrees = plan(State(3, 20, -100), 80, LIMITS)
    radians = plan(
        State(3 * per_degree, 20 * per_degree, -100 * per_degree),
        80 * per_degree,
        Limits(60 * per_degree, 240 * per_degree, 2400 * per_degree),
    )
    assert radians.duration == pytest.approx(degrees.duration, rel=1e-14)


@given(st.floats(-300, 300), st.floats(-60, 60), st.floats(-240, 240), st.floats(0, 1))
def test_planning_again_on_the_way_changes_nothing(
    target: float, speed: float, acceleration: float, share: float
) -> None:
    path = plan(State(0, speed, acceleration), target, LIMITS)
    passed = share * path.duration
    again = plan(path.at(passed), target, LIMITS)
    # The last rounded digit of a state on its final ramp costs its cube root in time, some 1e-5 s here.
    assert passed + again.duration == pytest.approx(path.duration, abs=1e-4)


@given(st.floats(-300, 300), st.floats(-300, 300), st.floats(-60, 60), st.floats(-240, 240))
def test_beyond_the_stop_farther_takes_longer(one: float, other: float, speed: float, acceleration: float) -> None:
    near, far = sorted((one, other))
    start = State(0, speed, acceleration)
    if near > max(plan(start, 0, LIMITS).extremes()):
        assert plan(start, near, LIMITS).duration <= plan(start, far, LIMITS).duration * (1 + 1e-12)


NOT_NUMBERS = [math.nan, math.inf, -math.inf]


@pytest.mark.parametrize("bad", [*NOT_NUMBERS, 10**400])
@pytest.mark.parametrize("field", ["start.position", "start.velocity", "start.acceleration", "target"])
def test_what_is_not_finite_is_refused_by_name(field: str, bad: float) -> None:
    values = dict.fromkeys(["start.position", "start.velocity", "start.acceleration", "target"], 1.0) | {field: bad}
    start = State(values["start.position"], values["start.velocity"], values["start.acceleration"])
    with pytest.raises(PlanError, match="must be a finite number") as caught:
        plan(start, values["target"], LIMITS)
    assert caught.value.field == field
    assert isinstance(caught.value, GeartenderError)


@pytest.mark.parametrize("bad", [0.0, -1.0, *NOT_NUMBERS])
@pytest.mark.parametrize("field", ["velocity", "acceleration", "jerk"])
def test_limits_must_be_finite_and_above_zero(field: str, bad: float) -> None:
    limits = Limits(**({"velocity": 1.0, "acceleration": 1.0, "jerk": 1.0} | {field: bad}))
    with pytest.raises(PlanError) as caught:
        plan(State(0), 1, limits)
    assert caught.value.field == f"limits.{field}"


@pytest.mark.parametrize(
    ("start", "target", "limits"),
    [
        (State(0), 1.0, Limits(1, 1e200, 1e-200)),
        (State(0), 1.0, Limits(1e-300, 1e100, 1)),
        (State(0), 1e308, Limits(1e-10, 1, 1)),
        (State(0, 1e200), 0.0, Limits(1, 1, 1)),
    ],
)
def test_numbers_beyond_the_arithmetic_are_refused_in_plain_words(start: State, target: float, limits: Limits) -> None:
    with pytest.raises(PlanError, match="too far apart"):
        plan(start, target, limits)
