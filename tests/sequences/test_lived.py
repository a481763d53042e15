"""The clock may be set at any time: no slot fires twice, none is passed over in silence."""

from datetime import UTC, datetime, timedelta

import pytest

from geartender.sequences.lived import SPANS_MAX, Found, Lived, Timed
from geartender.sequences.slots import Every
from tests.sequences.clock_steps import steps_are_right

NOON = datetime(2031, 3, 1, 12, 0, tzinfo=UTC)
HOURLY = {"hourly": Timed(1, Every(3600), None)}
CAUGHT_UP = {"hourly": Timed(1, Every(3600), timedelta(minutes=30))}


class Clock:
    """Both clocks of a machine, and what was found at each look."""

    def __init__(self, entries: dict[str, Timed], wall: datetime) -> None:
        self.lived, self.entries, self.wall, self.monotonic = Lived(), entries, wall, 0.0
        self.lived.look(wall, 0.0, entries)

    def run(self, seconds: float) -> list[Found]:
        found = []
        while seconds > 0:
            part = min(seconds, 30.0)
            self.wall, self.monotonic, seconds = (
                self.wall + timedelta(seconds=part),
                self.monotonic + part,
                seconds - part,
            )
            found += self.lived.look(self.wall, self.monotonic, self.entries)[0]
        return found

    def set_to(self, wall: datetime) -> list[Found]:
        self.wall = wall
        return self.lived.look(wall, self.monotonic, self.entries)[0]

    def restart(self, off: timedelta) -> list[Found]:
        self.lived = Lived.from_state(self.lived.as_state())
        self.wall += off
        return self.lived.look(self.wall, 0.0, self.entries)[0]


def test_a_clock_that_goes_on_fires_each_slot_once() -> None:
    clock = Clock(HOURLY, NOON - timedelta(minutes=1))
    found = clock.run(3 * 3600)
    assert [one.due for one in found] == [NOON + timedelta(hours=hour) for hour in range(3)]
    assert not any(one.missed or one.again for one in found)


def test_what_the_clock_jumped_over_is_missed_or_caught_up() -> None:
    (found,) = Clock(HOURLY, NOON - timedelta(minutes=10)).set_to(NOON + timedelta(minutes=20))
    assert (found.due, found.missed, found.missed_first) == (None, 1, NOON)
    (found,) = Clock(CAUGHT_UP, NOON - timedelta(minutes=10)).set_to(NOON + timedelta(minutes=20))
    assert (found.due, found.missed) == (NOON, 0)
    (found,) = Clock(CAUGHT_UP, NOON - timedelta(minutes=10)).set_to(NOON + timedelta(hours=5, minutes=20))
    assert (found.due, found.missed) == (NOON + timedelta(hours=5), 5)


def test_a_clock_set_back_fires_nothing_again_and_says_so() -> None:
    clock = Clock(HOURLY, NOON - timedelta(minutes=10))
    assert [one.due for one in clock.run(1200)] == [NOON]
    clock.set_to(NOON - timedelta(minutes=20))
    found = clock.run(2400)
    assert [(one.due, one.again) for one in found] == [(None, 1)]
    assert [one.due for one in clock.run(3600)] == [NOON + timedelta(hours=1)]


def test_a_wrong_leap_that_is_put_right_loses_nothing() -> None:
    clock = Clock(HOURLY, NOON - timedelta(minutes=10))
    (leap,) = clock.set_to(NOON + timedelta(days=18_000))
    assert leap.missed >= 1000
    clock.run(60)
    assert clock.set_to(NOON - timedelta(minutes=5)) == []
    assert [one.due for one in clock.run(600)] == [NOON]


def test_what_came_while_the_machine_was_off_is_told_at_the_start() -> None:
    clock = Clock(HOURLY, NOON - timedelta(minutes=10))
    clock.run(1200)
    (found,) = clock.restart(timedelta(hours=2, minutes=5))
    assert (found.due, found.missed) == (None, 2)
    assert [one.due for one in clock.run(3600)] == [NOON + timedelta(hours=3)]


def test_a_new_entry_counts_from_now_and_a_changed_one_too() -> None:
    clock = Clock({}, NOON - timedelta(hours=3))
    clock.run(7200)
    clock.entries = dict(HOURLY)
    assert clock.run(1800) == []
    clock.entries = {"hourly": Timed(2, Every(600), None)}
    found = clock.run(1200)
    assert [one.due for one in found] == [NOON - timedelta(minutes=20), NOON - timedelta(minutes=10)]


@pytest.mark.parametrize("seed", [0, pytest.param(1, marks=pytest.mark.slow), pytest.param(2, marks=pytest.mark.slow)])
def test_clocks_that_are_set_many_times(seed: int) -> None:
    tally = steps_are_right(seed, 60)
    assert tally["fired"] > 20
    assert tally["missed"] > 20
    assert tally["again"] > 0


def test_what_is_remembered_does_not_grow() -> None:
    clock = Clock(HOURLY, NOON)
    for _ in range(2 * SPANS_MAX):
        clock.run(30)
        clock.set_to(clock.wall + timedelta(hours=3))
    assert len(clock.lived.spans) <= SPANS_MAX
