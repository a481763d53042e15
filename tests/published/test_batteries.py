"""Battery run time against published examples of Peukert's law. The form with the hour rating is from memory."""

import pytest

from geartender.build.battery import exponent, hours


# 100 Ah stated for 20 h, k = 1.2: the law, recomputed.
@pytest.mark.parametrize(("current", "expected", "delivered"), [(5, 20.0, 100.0), (10, 8.705506, 87.055056)])
def test_hours_by_the_hour_rating(current: float, expected: float, delivered: float) -> None:
    found = hours(100, 20, current, 1.2)
    assert found == pytest.approx(expected, rel=1e-6)
    assert found * current == pytest.approx(delivered, rel=1e-6)


# Two pages give the plain form t = C / I^k, with C meant as the capacity at 1 A: that is a rating of C hours.
@pytest.mark.parametrize(("capacity", "current", "k", "expected"), [(100, 5, 1.2, 14.4956), (250, 20, 1.3, 5.088632)])
def test_the_plain_form_is_the_rating_of_one_ampere(capacity: float, current: float, k: float, expected: float) -> None:
    assert hours(capacity, capacity, current, k) == pytest.approx(expected, rel=1e-5)


def test_the_plain_form_is_wrong_for_a_twenty_hour_rating() -> None:
    assert hours(100, 20, 5, 1.2) == pytest.approx(20.0)
    assert hours(100, 20, 5, 1.2) > 1.3 * 14.4956


def test_below_the_rated_current_no_more_than_the_printed_capacity() -> None:
    assert hours(100, 20, 1, 1.3) == pytest.approx(100.0)


def test_exponent_from_two_discharges() -> None:
    # 5 A for 20 h, 20 A for 4 h.
    assert exponent(5, 20, 20, 4) == pytest.approx(1.160964, rel=1e-6)


def test_a_plain_run_time() -> None:
    # 2.2 Ah, of which 80 % are used, at 0.35 A.
    assert hours(2.2 * 0.8, 20, 0.35) == pytest.approx(5.028571, rel=1e-6)
