"""Sunrise, sunset and cron against published values.

Sun: USNO tables and the USNO Almanac for Computers (1990) worked example, as kept in public solar libraries' tests; NREL SPA
values (NREL/TP-560-34302) from the same. Tolerances: 60 s against minutes as published, 60 s against SPA, whose refraction differs
from that of the library used here by 10 to 23 s.
Cron: POSIX (IEEE Std 1003.1, XCU crontab) for the fields and the either-day rule; two public cron libraries, which agree on these,
for the next runs; their spring and autumn behaviour in Europe/Berlin and America/New_York 2024.
"""

from datetime import UTC, date, datetime, timedelta
from itertools import islice
from zoneinfo import ZoneInfo

import pytest

from geartender.sequences.slots import Cron, Sun, first, upcoming

MINUTE = timedelta(seconds=60)
MONDAY = datetime(2024, 1, 1, tzinfo=UTC)


def sun(what: str, latitude: float, longitude: float, day: date) -> datetime:
    found = Sun(what, timedelta(0), latitude, longitude).on(day)
    assert found is not None
    return found


def local(text: str, hours: float) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=UTC) - timedelta(hours=hours)


GOLDEN = (39.742476, -105.1786)


@pytest.mark.parametrize(
    ("place", "hours", "rise", "setting"),
    [
        ((40.9, -74.3), -4, "1990-06-25T05:26:29", "1990-06-25T20:33:01"),
        (GOLDEN, -7, "2015-01-01T07:22", "2015-01-01T16:47"),
        (GOLDEN, -7, "2015-01-02T07:22", "2015-01-02T16:48"),
        (GOLDEN, -7, "2015-08-02T05:00", "2015-08-02T19:13"),
        (GOLDEN, -7, "2015-01-02T07:21:55", "2015-01-02T16:47:43"),
        (GOLDEN, -7, "2003-10-17T06:12:43", "2003-10-17T17:18:51"),
        ((-35.0, 0.0), 0, "1996-07-05T07:08:15", "1996-07-05T17:01:04"),
        ((51.4769, 0.0), 0, "2024-03-20T06:01:46", "2024-03-20T18:13:49"),
        ((-33.8688, 151.2093), 11, "2024-12-21T05:40:53", "2024-12-21T20:05:41"),
        ((52.52, 13.405), 1, "2024-03-30T05:44:34", "2024-03-30T18:37:54"),
    ],
)
def test_the_sun_rises_and_sets_as_published(place: tuple[float, float], hours: float, rise: str, setting: str) -> None:
    day = date.fromisoformat(rise[:10])
    assert abs(sun("rise", *place, day) - local(rise, hours)) <= MINUTE
    assert abs(sun("set", *place, day) - local(setting, hours)) <= MINUTE


def test_where_the_sun_stays_up_it_neither_rises_nor_sets() -> None:
    for what in ("rise", "set"):
        assert Sun(what, timedelta(0), 69.6492, 18.9553).on(date(2024, 6, 21)) is None


@pytest.mark.parametrize(
    ("fields", "runs"),
    [
        ("30 4 1,15 * 5", ["01-01 04:30", "01-05 04:30", "01-12 04:30", "01-15 04:30", "01-19 04:30"]),
        ("0 0 1 * 1", ["01-08 00:00", "01-15 00:00", "01-22 00:00", "01-29 00:00", "02-01 00:00"]),
        ("*/7 * * * *", [f"01-01 00:{minute:02}" for minute in range(7, 60, 7)] + ["01-01 01:00"]),
        ("1-10/3 * * * *", ["01-01 00:01", "01-01 00:04", "01-01 00:07", "01-01 00:10"]),
        ("0 0 * * 7", ["01-07 00:00", "01-14 00:00"]),
        ("0 0 * * 0", ["01-07 00:00", "01-14 00:00"]),
        ("0 0 * 1 1", ["01-08 00:00", "01-15 00:00", "01-22 00:00", "01-29 00:00"]),
        ("0 0 */2 * 1", ["01-15 00:00", "01-29 00:00", "02-05 00:00", "02-19 00:00"]),
    ],
)
def test_cron_runs_as_published(fields: str, runs: list[str]) -> None:
    found = first(Cron(fields, UTC), MONDAY, len(runs))
    assert [f"{moment:%m-%d %H:%M}" for moment in found] == runs


@pytest.mark.parametrize(
    "fields", ["0 0 30 2 *", "60 * * * *", "* * * *", "* * * * * *", "0 0 L * *", "0 0 * * SUN", ""]
)
def test_what_is_no_cron_or_never_comes_is_refused(fields: str) -> None:
    with pytest.raises(ValueError):
        Cron(fields, UTC)


@pytest.mark.parametrize(
    ("zone", "fields", "after", "runs"),
    [
        (
            "Europe/Berlin",
            "30 2 * * *",
            "2024-03-29T12:00",
            ["03-30 02:30+0100", "03-31 03:00+0200", "04-01 02:30+0200"],
        ),
        ("Europe/Berlin", "30 2 * * *", "2024-10-26T12:00", ["10-27 02:30+0200", "10-28 02:30+0100"]),
        ("America/New_York", "30 2 * * *", "2024-03-09T12:00", ["03-10 03:00-0400", "03-11 02:30-0400"]),
        (
            "Europe/Berlin",
            "*/30 * * * *",
            "2024-03-31T01:00",
            ["03-31 01:30+0100", "03-31 03:00+0200", "03-31 03:30+0200"],
        ),
        (
            "Europe/Berlin",
            "*/30 * * * *",
            "2024-10-27T01:30",
            ["10-27 02:00+0200", "10-27 02:30+0200", "10-27 02:00+0100", "10-27 02:30+0100", "10-27 03:00+0100"],
        ),
    ],
)
def test_summer_time_is_as_published(zone: str, fields: str, after: str, runs: list[str]) -> None:
    where = ZoneInfo(zone)
    begin = datetime.fromisoformat(after).replace(tzinfo=where).astimezone(UTC)
    found = islice(upcoming(Cron(fields, where), begin), len(runs))
    assert [f"{moment.astimezone(where):%m-%d %H:%M%z}" for moment in found] == runs
