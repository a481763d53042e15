"""What a path answers about itself."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from geartender.errors import PlanError
from geartender.motion import Limits, Path, State, plan

LIMITS = Limits(velocity=60, acceleration=240, jerk=2400)


@pytest.fixture
def path() -> Path:
    return plan(State(0, -10), 30, LIMITS)


def test_its_duration_is_that_of_its_pieces(path: Path) -> None:
    assert path.duration == pytest.approx(sum(piece.duration for piece in path.pieces), rel=1e-15)
    assert all(piece.duration > 0 for piece in path.pieces)


def test_before_the_start_it_is_the_start_and_after_the_end_the_end(path: Path) -> None:
    assert path.at(-1) == path.at(0) == State(0, -10)
    assert path.at(path.duration) == path.at(1e9) == State(30)


def test_it_is_continuous_where_pieces_join(path: Path) -> None:
    for end in path.ends[:-1]:
        before, after = path.at(math.nextafter(end, 0)), path.at(end)
        assert before.position == pytest.approx(after.position, abs=1e-12)
        assert before.velocity == pytest.approx(after.velocity, abs=1e-11)
        assert before.acceleration == pytest.approx(after.acceleration, abs=1e-10)


@given(st.floats(-60, 60), st.floats(-240, 240), st.floats(-90, 90))
def test_no_moment_lies_beyond_its_extremes_and_they_are_reached(
    speed: float, acceleration: float, target: float
) -> None:
    path = plan(State(0, speed, acceleration), target, LIMITS)
    low, high = path.extremes()
    seen = [path.at(path.duration * share / 2000).position for share in range(2001)]
    assert low - 1e-12 <= min(seen)
    assert max(seen) <= high + 1e-12
    assert min(seen) == pytest.approx(low, abs=1e-3)
    assert max(seen) == pytest.approx(high, abs=1e-3)


def test_a_time_that_is_no_number_is_refused(path: Path) -> None:
    with pytest.raises(PlanError):
        path.at(math.nan)
