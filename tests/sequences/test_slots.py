"""When entries are due: each slot once, in every zone, whatever summer time does."""

import itertools
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo, available_timezones

import pytest

from geartender.sequences.slots import Cron, Every, Once, Sun, changes, first, local_moment
from tests.sequences.slot_rules import year_is_right

SAMPLE = sorted(available_timezones())[::150]
ODD = [
    "Australia/Lord_Howe",
    "Africa/Casablanca",
    "America/Nuuk",
    "Asia/Gaza",
    "Pacific/Chatham",
    "Europe/Dublin",
    "Antarctica/Troll",
]


@pytest.mark.parametrize("zone", [*ODD, *SAMPLE])
def test_every_local_time_fires_once_and_one_in_a_gap_at_its_end(zone: str) -> None:
    year_is_right(ZoneInfo(zone), 2026)


def test_a_window_gives_the_same_as_its_parts() -> None:
    zone = ZoneInfo("Europe/Berlin")
    for fields in ("*/20 * * * *", "30 2 * * *", "*/20 2 * * *", "0 */2 * * *"):
        cron = Cron(fields, zone)
        for begin in (datetime(2024, 3, 30, 20, tzinfo=UTC), datetime(2024, 10, 26, 20, tzinfo=UTC)):
            end = begin + timedelta(hours=10)
            whole = list(cron.between(begin, end))
            edges = [begin + timedelta(minutes=5 * at) for at in range(121)]
            assert [one for early, late in pairwise(edges) for one in cron.between(early, late)] == whole


def test_several_slots_in_one_gap_are_one() -> None:
    zone = ZoneInfo("Europe/Berlin")
    found = list(
        Cron("*/20 2 * * *", zone).between(datetime(2024, 3, 31, tzinfo=UTC), datetime(2024, 3, 31, 12, tzinfo=UTC))
    )
    assert found == [datetime(2024, 3, 31, 1, tzinfo=UTC)]


def test_an_interval_counts_real_seconds() -> None:
    found = first(Every(3600), datetime(2024, 3, 31, 0, 30, tzinfo=UTC), 3)
    assert found == [datetime(2024, 3, 31, hour, tzinfo=UTC) for hour in (1, 2, 3)]
    assert first(Every(3600), found[0], 1) == [found[1]]


def test_a_single_time_in_a_gap_and_in_a_repeated_hour() -> None:
    zone = ZoneInfo("Europe/Berlin")
    assert local_moment(datetime.fromisoformat("2024-03-31T02:30"), zone) == datetime(2024, 3, 31, 1, tzinfo=UTC)
    assert local_moment(datetime.fromisoformat("2024-10-27T02:30"), zone) == datetime(2024, 10, 27, 0, 30, tzinfo=UTC)
    once = Once(datetime(2024, 5, 1, tzinfo=UTC))
    assert first(once, datetime(2024, 4, 1, tzinfo=UTC), 5) == [once.moment]
    assert first(once, once.moment, 5) == []


def test_changes_are_found_to_the_second() -> None:
    found = changes(ZoneInfo("Australia/Lord_Howe"), datetime(2024, 1, 1, tzinfo=UTC), datetime(2025, 1, 1, tzinfo=UTC))
    assert list(found) == [datetime(2024, 4, 6, 15, tzinfo=UTC), datetime(2024, 10, 5, 15, 30, tzinfo=UTC)]


@pytest.mark.parametrize("longitude", [-179.9, -105.0, 0.0, 13.4, 105.0, 179.9])
def test_the_sun_is_due_once_a_day_at_every_longitude(longitude: float) -> None:
    begin = datetime(2026, 1, 1, tzinfo=UTC)
    for what in ("rise", "set"):
        found = list(Sun(what, timedelta(minutes=-45), 47.0, longitude).between(begin, begin + timedelta(days=365)))
        assert len(found) in (364, 365, 366)
        gaps = [(late - early).total_seconds() / 3600 for early, late in itertools.pairwise(found)]
        assert min(gaps) > 23.8
        assert max(gaps) < 24.2


def test_polar_night_ends_and_the_sun_is_due_again() -> None:
    sun = Sun("rise", timedelta(0), 69.65, 18.96)
    assert sun.on(date(2026, 12, 21)) is None
    (back,) = first(sun, datetime(2026, 12, 21, tzinfo=UTC), 1)
    assert datetime(2027, 1, 10, tzinfo=UTC) < back < datetime(2027, 1, 25, tzinfo=UTC)
