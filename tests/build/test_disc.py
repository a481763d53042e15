"""Counts, and the speed that is known from them."""

import math
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from geartender.build import disc, figures
from geartender.firmware import tick
from tests.build.test_strength import MOTOR, sheet, spur

PER_COUNT, SPEED = st.floats(1e-3, 10), st.floats(0.1, 1000)


def test_counts_are_followed_up_to_what_the_firmware_can_hold() -> None:
    counts_in_a_tick = (tick.SPEED_TOP + 1) >> 16
    assert counts_in_a_tick * tick.SECOND_TICKS == disc.COUNTER_HZ


@given(PER_COUNT)
def test_window_and_interval_are_equal_where_one_begins_to_beat_the_other(per_count: float) -> None:
    speed = disc.interval_better_below(per_count)
    assert disc.by_interval(per_count, speed) == pytest.approx(disc.by_window(per_count))
    assert (
        disc.by_interval(per_count, 0.9 * speed) < disc.by_window(per_count) < disc.by_interval(per_count, 1.1 * speed)
    )


@given(PER_COUNT, SPEED)
def test_an_interval_that_is_one_tick_longer_means_that_much_less_speed(per_count: float, speed: float) -> None:
    interval = per_count / speed
    slower = per_count / (interval + disc.CLOCK_S)
    # The step is that of a short tick; a long one, against the interval, makes a little less.
    assert speed - slower == pytest.approx(disc.by_interval(per_count, speed), rel=2 * disc.CLOCK_S / interval + 1e-6)


@given(st.integers(1, 40), st.integers(12, 80), st.integers(12, 80))
def test_a_count_is_the_same_share_of_a_turn_at_motor_and_output(marks: int, driver: int, driven: int) -> None:
    found = figures(sheet(spur(driver, driven), disc={"marks_per_turn": marks}))
    assert found.counts_per_motor_turn == 4 * marks
    assert found.deg_per_count == Fraction(360 * driver, 4 * marks * driven)


def test_a_fuller_battery_counts_faster() -> None:
    plain = figures(sheet(spur(12, 60)))
    full = figures(sheet(spur(12, 60), supply={"kind": "battery", "highest_v": 14.4}))
    assert plain.highest_count_rate_hz == pytest.approx(plain.count_rate_hz)
    lost = MOTOR["no_load_current_a"] * MOTOR["winding_ohm"]
    assert full.highest_count_rate_hz / plain.highest_count_rate_hz == pytest.approx((14.4 - lost) / (12 - lost))
    assert math.isclose(full.count_rate_hz, plain.count_rate_hz)
