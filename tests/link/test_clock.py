"""The firmware's clock seen from the host: least round trip, drift, wraps."""

import random

import pytest

from geartender.link.clock import Clock
from geartender.link.lines import CLOCK_SPAN


def firmware_time(host: float, rate: float, start_us: int) -> int:
    return (start_us + int(host * 1e6 * rate)) % CLOCK_SPAN


def feed(clock: Clock, seconds: float, rate: float, start_us: int, dice: random.Random, begin: float = 0.0) -> float:
    now = begin
    while now < begin + seconds:
        there, back = 0.001 + dice.expovariate(200), 0.001 + dice.expovariate(200)
        clock.add(now, now + there + back, firmware_time(now + there, rate, start_us))
        now += 0.08
    return now


@pytest.mark.parametrize("rate", [1.0, 1 + 80e-6, 1 - 80e-6])
@pytest.mark.parametrize("start_us", [0, CLOCK_SPAN - 10_000_000])
def test_a_minute_of_exchanges_tells_the_time_to_a_millisecond_and_the_drift(rate: float, start_us: int) -> None:
    clock = Clock()
    now = feed(clock, 60, rate, start_us, random.Random(3))
    assert clock.drift == pytest.approx(rate - 1, abs=40e-6)
    for later in (now, now + 2):
        assert abs(clock.wire(later) - firmware_time(later, rate, start_us)) % CLOCK_SPAN < 1000


def test_before_the_first_exchange_nothing_is_known() -> None:
    clock = Clock()
    assert not clock.known
    assert clock.round_trip is None
    with pytest.raises(LookupError):
        clock.wire(1.0)


def test_a_slow_exchange_does_not_spoil_a_quick_one() -> None:
    clock = Clock()
    clock.add(10.0, 10.002, 1_001_000)
    clock.add(10.1, 10.9, 1_850_000)
    assert clock.wire(10.001) == 1_001_000
    assert clock.round_trip == pytest.approx(0.002)


def test_an_old_exchange_yields_to_a_young_one_in_the_end() -> None:
    clock = Clock()
    clock.add(0.0, 0.001, 0)
    for second in range(1, 200):
        clock.add(second, second + 0.004, second * 1_000_000 + 2000 + 20_000)
    assert clock.wire(200.0) == pytest.approx(200_020_000, abs=200)


def test_a_firmware_time_is_found_on_the_hosts_clock() -> None:
    clock = Clock()
    clock.add(5.0, 5.002, CLOCK_SPAN - 500_000)
    assert clock.host(clock.wire(7.25), near=6.9) == pytest.approx(7.25, abs=1e-6)


def test_over_hours_and_many_wraps_it_stays_in_step() -> None:
    clock, rate, now = Clock(), 1 + 60e-6, 0.0
    dice = random.Random(5)
    for hour in range(3):
        now = feed(clock, 30, rate, 123, dice, begin=hour * 3600.0)
        if not hour:
            continue
        assert abs(clock.wire(now) - firmware_time(now, rate, 123)) < 3000
