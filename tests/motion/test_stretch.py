"""A path that takes longer than the quickest one: as long as asked, within the limits, and without a detour."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from geartender.errors import PlanError
from geartender.motion import Limits, State, plan, stop_path, stretch
from tests.motion.random_plans import ROUNDING, Problem, Worst, judge

LIMITS = Limits(velocity=60, acceleration=240, jerk=2400)
STATES = st.builds(State, st.floats(-90, 90), st.floats(-100, 100), st.floats(-400, 400))


@given(STATES, st.floats(-90, 90), st.floats(1.0, 1000.0))
def test_it_takes_the_wanted_time_keeps_the_limits_and_makes_no_detour(
    start: State, target: float, factor: float
) -> None:
    quickest = plan(start, target, LIMITS)
    wanted = quickest.duration * factor
    path = stretch(start, target, LIMITS, wanted)
    worst = Worst()
    judge(Problem(start, target, LIMITS), path, worst)
    assert max(worst.step, worst.end, worst.beyond_limits) <= ROUNDING, "\n".join(worst.lines())
    assert path.duration == pytest.approx(wanted, rel=1e-12)
    ends = (*quickest.extremes(), *stop_path(start, LIMITS).extremes())
    low, high = path.extremes()
    assert low >= min(ends) - 1e-9
    assert high <= max(ends) + 1e-9


@pytest.mark.parametrize("factor", [1.001, 1.5, 30.0])
def test_from_rest_it_never_turns_round_and_all_peaks_fall(factor: float) -> None:
    path = stretch(State(10), 70, LIMITS, factor * plan(State(10), 70, LIMITS).duration)
    assert path.extremes() == (10, 70)
    peaks = [
        max(abs(value) for value in values)
        for values in zip(*[(p.start.velocity, p.start.acceleration, p.jerk) for p in path.pieces], strict=True)
    ]
    assert peaks[0] < 60
    assert peaks[1] < 240
    assert peaks[2] < 2400


def test_moving_away_it_turns_round_as_early_as_the_quickest_path_does() -> None:
    start = State(0, -10)
    quickest = plan(start, 30, LIMITS)
    assert stretch(start, 30, LIMITS, 4 * quickest.duration).extremes() == pytest.approx(quickest.extremes(), rel=1e-12)


def test_at_its_least_duration_it_is_the_quickest_path() -> None:
    quickest = plan(State(0, 20), 50, LIMITS)
    assert stretch(State(0, 20), 50, LIMITS, quickest.duration).duration == pytest.approx(quickest.duration, rel=1e-14)


def test_several_moves_stretched_to_the_longest_end_together() -> None:
    moves = [(0.0, 75.0), (10.0, 12.0), (40.0, -40.0)]
    longest = max(plan(State(a), b, LIMITS).duration for a, b in moves)
    for a, b in moves:
        path = stretch(State(a), b, LIMITS, longest)
        assert path.duration == pytest.approx(longest, rel=1e-12)
        assert path.at(longest) == State(b)


def test_resting_on_the_target_it_waits() -> None:
    path = stretch(State(5), 5, LIMITS, 3)
    assert path.duration == 3
    assert path.extremes() == (5, 5)


def test_a_stop_on_the_target_is_followed_by_waiting() -> None:
    path = stretch(State(0, 60), 10.5, LIMITS, 2)
    assert path.duration == pytest.approx(2, rel=1e-14)
    assert path.at(0.36) == State(10.5)


@pytest.mark.parametrize(("start", "target"), [(State(0), 50), (State(0, 60), 10.5), (State(0, -50, 100), 3)])
def test_too_short_a_duration_is_refused_with_the_least_one(start: State, target: float) -> None:
    least = plan(start, target, LIMITS).duration
    with pytest.raises(PlanError, match="must be at least") as caught:
        stretch(start, target, LIMITS, least * 0.999)
    assert caught.value.field == "duration"
    assert f"{least:.9g}" in str(caught.value)


@pytest.mark.parametrize("bad", [math.nan, math.inf, 0.0, -1.0])
def test_an_impossible_duration_is_refused(bad: float) -> None:
    with pytest.raises(PlanError) as caught:
        stretch(State(0), 1, LIMITS, bad)
    assert caught.value.field == "duration"
