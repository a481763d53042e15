"""Quickest changes to a held velocity, and quickest stops."""

import pytest
import ruckig
from hypothesis import given
from hypothesis import strategies as st

from geartender.errors import PlanError
from geartender.motion import Limits, State, plan_velocity, stop_path

LIMITS = Limits(velocity=60, acceleration=240, jerk=2400)
STATES = st.builds(State, st.floats(-90, 90), st.floats(-100, 100), st.floats(-400, 400))


def oracle_duration(start: State, velocity: float) -> float:
    asked = ruckig.InputParameter(1)
    asked.control_interface = ruckig.ControlInterface.Velocity
    asked.current_position, asked.current_velocity = [start.position], [start.velocity]
    asked.current_acceleration = [start.acceleration]
    asked.target_velocity, asked.target_acceleration = [velocity], [0.0]
    asked.max_acceleration, asked.max_jerk = [LIMITS.acceleration], [LIMITS.jerk]
    path = ruckig.Trajectory(1)
    ruckig.Ruckig(1).calculate(asked, path)
    return float(path.duration)


@given(STATES, st.floats(-60, 60))
def test_a_change_of_velocity_is_as_quick_as_the_reference_librarys(start: State, velocity: float) -> None:
    path = plan_velocity(start, velocity, LIMITS)
    assert path.duration <= oracle_duration(start, velocity) * (1 + 1e-8) + 1e-9
    assert path.end.velocity == velocity
    assert path.end.acceleration == 0.0


@given(STATES, st.floats(-60, 60))
def test_its_pieces_join_and_lead_to_its_end(start: State, velocity: float) -> None:
    path = plan_velocity(start, velocity, LIMITS)
    if not path.pieces:
        assert path.end.position == start.position
        assert path.end.velocity == pytest.approx(start.velocity, abs=1e-11)
        assert path.end.acceleration == pytest.approx(start.acceleration, abs=1e-10)
    following = [*(piece.start for piece in path.pieces[1:]), path.end]
    for piece, state in zip(path.pieces, following, strict=False):
        reached = piece.at(piece.duration)
        assert reached.position == pytest.approx(state.position, abs=1e-11)
        assert reached.velocity == pytest.approx(state.velocity, abs=1e-11)
        assert reached.acceleration == pytest.approx(state.acceleration, abs=1e-10)


def test_after_its_end_it_goes_on_at_the_held_velocity() -> None:
    path = plan_velocity(State(0), 60, LIMITS)
    assert path.duration == pytest.approx(0.35, rel=1e-14)
    assert path.end.position == pytest.approx(10.5, rel=1e-14)
    assert path.at(path.duration + 2) == State(pytest.approx(130.5, rel=1e-14), 60, 0)


def test_a_stop_takes_away_the_velocity_and_says_where_it_ends() -> None:
    path = stop_path(State(100, -60), LIMITS)
    assert path.end == State(pytest.approx(89.5, rel=1e-14))
    assert path.extremes() == pytest.approx((89.5, 100), rel=1e-14)


def test_a_stop_at_rest_takes_no_time() -> None:
    assert stop_path(State(3), LIMITS).duration == 0.0


def test_a_velocity_above_its_limit_is_refused() -> None:
    with pytest.raises(PlanError) as caught:
        plan_velocity(State(0), -61, LIMITS)
    assert caught.value.field == "velocity"
