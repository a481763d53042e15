"""Paths and what of them goes over the link. Pure."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from geartender.errors import Invalid, OutsideTravel, OverLimit
from geartender.firmware.plan import Plan
from geartender.motion import Limits, State, plan
from geartender.servo.planning import (
    Approach,
    Travel,
    joined,
    link_pieces,
    plan_move,
    speed_towards_end,
    stretched,
    turn_duration,
)
from geartender.servo.requests import LONGEST_MOVE_S
from geartender.servo.units import WIRE, Scale
from tests.servo.rig import vent

SCALE = Scale.of(vent())
LIMITS = Limits(20, 40, 200)
TRAVEL = Travel(0, 75)
AS_IT_COMES = Approach(0, 0.0)
ORIGIN = -123_456


def firmware_plan(path: object) -> Plan:
    """The firmware's own reading of a path, which must take every piece."""
    pieces = link_pieces(path, SCALE, ORIGIN)  # type: ignore[arg-type]
    taken = Plan(1, 0, len(pieces))
    for numbers in pieces:
        assert taken.add(*numbers) is None
    return taken


@settings(max_examples=60)
@given(
    st.floats(0, 75), st.floats(0, 75), st.floats(-20, 20), st.floats(-40, 40), st.sampled_from([1.0, 3.0, 9.0, 40.0])
)
def test_the_firmware_takes_every_path_and_ends_where_it_should(
    start: float, target: float, speed: float, accel: float, share: float
) -> None:
    path = plan(State(start, speed / share, accel / share), target, LIMITS)
    taken = firmware_plan(path)
    assert taken.at_rest()
    assert taken.end() == pytest.approx(SCALE.wire_position(target, ORIGIN), abs=WIRE / 50)
    for step in range(21):
        at_us = round(path.duration * 1e6 * step / 20)
        position, _ = taken.state_at(at_us)
        assert SCALE.deg(position, ORIGIN) == pytest.approx(path.at(at_us / 1e6).position, abs=SCALE.deg_per_count / 50)


@pytest.mark.parametrize("duration", [30.0, 200.0, LONGEST_MOVE_S])
def test_a_long_path_is_cut_into_pieces_that_the_firmware_holds(duration: float) -> None:
    path = stretched(plan(State(0), 70, LIMITS), LIMITS, duration)
    assert path.duration == pytest.approx(duration)
    taken = firmware_plan(path)
    assert len(taken.pieces) <= 32
    assert max(piece.duration for piece in taken.pieces) <= 60_000_000
    assert taken.end() == pytest.approx(SCALE.wire_position(70, ORIGIN), abs=WIRE / 10)


def test_a_path_to_where_it_stands_is_one_piece_of_rest() -> None:
    (numbers,) = link_pieces(plan(State(7), 7, LIMITS), SCALE, 0)
    assert numbers[1:] == (SCALE.wire_position(7, 0), 0, 0, 0)


def test_a_duration_is_kept_over_both_legs_of_an_approach() -> None:
    path = plan_move(State(50), 20, LIMITS, TRAVEL, Approach(1, 1.25), 0.0)
    longer = stretched(path, LIMITS, 9.0)
    assert longer.duration == pytest.approx(9.0)
    assert longer.extremes()[0] == pytest.approx(18.75)
    with pytest.raises(OverLimit):
        stretched(path, LIMITS, path.duration * 0.9)


def test_a_path_may_not_leave_the_travel_nor_take_too_long() -> None:
    with pytest.raises(OutsideTravel):
        plan_move(State(70, 20, 0), 74, LIMITS, TRAVEL, AS_IT_COMES)
    with pytest.raises(OutsideTravel):
        plan_move(State(50), 75.001, LIMITS, TRAVEL, AS_IT_COMES)
    with pytest.raises(Invalid, match="at most"):
        plan_move(State(0), 75, Limits(0.1, 40, 200), TRAVEL, AS_IT_COMES)


def test_from_outside_the_travel_the_way_back_in_is_allowed() -> None:
    assert plan_move(State(76.5), 70, LIMITS, TRAVEL, AS_IT_COMES).end.position == 70
    assert plan_move(State(-1.0), 0, LIMITS, TRAVEL, Approach(1, 0.5)).end.position == 0


def test_an_endless_travel_has_no_outside() -> None:
    endless = Travel(-math.inf, math.inf)
    assert endless.endless
    endless.check(1e5)


@given(st.floats(0.01, 80), st.floats(0.0, 0.2))
def test_the_speed_towards_the_end_can_be_stopped_before_it(distance: float, delay: float) -> None:
    speed = speed_towards_end(distance, LIMITS, delay)
    stop = speed * speed / (2 * 40) + speed * 40 / (2 * 200) + speed * delay
    assert stop <= distance * (1 + 1e-9)
    assert speed_towards_end(0.0, LIMITS, delay) == 0.0


def test_a_timed_turn_lasts_its_time_and_the_ramp_down() -> None:
    assert turn_duration(10, 3, LIMITS) == pytest.approx(3 + 10 / 40 + 40 / 200)
    assert turn_duration(-2, 1, LIMITS) == pytest.approx(1 + 2 * math.sqrt(2 / 200))


def test_joined_paths_follow_each_other() -> None:
    first, second = plan(State(0), 10, LIMITS), plan(State(10), 5, LIMITS)
    whole = joined(first, second)
    assert whole.duration == pytest.approx(first.duration + second.duration)
    assert whole.at(first.duration).position == pytest.approx(10)
    assert whole.at(whole.duration).position == 5
