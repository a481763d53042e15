"""When something is due: cron, sun, interval or once, as moments in UTC. Pure: moments and zones in, moments out.

The rules, where a zone's clock is put forward or back:

- A slot with fixed hours (anything but `*` in the hour field) fires once for each local time. A local time that does not exist
  fires at the first instant after the gap, once, however many slots fell into it; one that comes twice fires the first time.
- With `*` in the hour field the hours that really pass are counted: both of a repeated hour, and none of a skipped one.
- An interval counts seconds that really pass, in whole multiples since 1970-01-01 00:00 UTC, so that it needs no beginning.
- The sun's day is the one by the sun at that longitude. On a day without a rising, or a setting, nothing is due.

Sources: the five fields are those of POSIX (IEEE Std 1003.1, crontab); steps (`*/15`) and 7 for Sunday are taken as well.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta, timezone, tzinfo
from itertools import islice
from typing import Literal, Protocol

from astral import Observer
from astral.sun import sunrise, sunset
from cronsim import CronSim, CronSimError

POSIX = re.compile(r"[0-9*,/-]+")
"""What a field may be made of: numbers, ranges, lists, `*` and steps; no names, no letters."""

RANGES = "minute 0-59, hour 0-23, day of the month 1-31, month 1-12, day of the week 0-6 with 0 for Sunday"

PROBE = timedelta(hours=3)
"""Far shorter than the time between two changes of any zone's clock."""

SECOND = timedelta(seconds=1)
DAY = timedelta(days=1)

LONGEST_LOOK = timedelta(days=400)
"""How much of the future is looked through at once: more than a year."""

HORIZON = timedelta(days=30 * 366)
"""How far ahead a next slot is looked for: 29 February on a certain day of the week comes within 28 years, or 40 round 2100."""

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


class Slots(Protocol):
    """Moments at which something is due."""

    def between(self, after: datetime, until: datetime) -> Iterator[datetime]:
        """Those later than `after` up to and with `until`, in order, in UTC."""
        ...


def upcoming(slots: Slots, after: datetime) -> Iterator[datetime]:
    """All that follow, in order, up to the horizon."""
    width, begin, end = DAY, after, after + HORIZON
    while begin < end:
        yield from slots.between(begin, begin + width)
        begin, width = begin + width, min(2 * width, LONGEST_LOOK)


def first(slots: Slots, after: datetime, number: int) -> list[datetime]:
    """The next few."""
    return list(islice(upcoming(slots, after), number))


def offset_at(zone: tzinfo, moment: datetime) -> timedelta:
    """How far the zone's clock is ahead of UTC at a moment."""
    return moment.astimezone(zone).utcoffset() or timedelta(0)


def changes(zone: tzinfo, after: datetime, until: datetime) -> Iterator[datetime]:
    """Moments in between, to the second, from which on the zone's clock has another offset."""
    begin = after
    while begin < until:
        end = min(begin + PROBE, until)
        if offset_at(zone, begin) != offset_at(zone, end):
            low, high = begin, end
            while high - low > SECOND:
                middle = low + (high - low) / 2
                if offset_at(zone, middle) == offset_at(zone, begin):
                    low = middle
                else:
                    high = middle
            yield (high + timedelta(microseconds=500_000)).replace(microsecond=0) if high.microsecond else high
        begin = end


@dataclass(frozen=True)
class Cron:
    """Five cron fields, in a zone."""

    fields: str
    zone: tzinfo

    def __post_init__(self) -> None:
        """Raise ValueError for fields that say nothing, or nothing that ever comes."""
        parts = self.fields.split()
        if len(parts) != 5 or not all(POSIX.fullmatch(part) for part in parts):
            raise ValueError(
                "needs five fields of numbers, ranges, lists, * or steps: minute, hour, day of the month, month, day of the week"
            )
        try:
            next(CronSim(self.fields, datetime(2024, 1, 1)))  # noqa: DTZ001 - local times have no zone here
        except CronSimError as error:
            raise ValueError(f"cannot be read, or never comes: {str(error).lower()}; {RANGES}") from None
        except StopIteration:
            raise ValueError("never comes") from None

    @property
    def hourly(self) -> bool:
        """Whether the hours that really pass are counted."""
        return self.fields.split()[1] == "*"

    def between(self, after: datetime, until: datetime) -> Iterator[datetime]:
        """Those later than `after` up to and with `until`."""
        begin, before = after, offset_at(self.zone, after)
        last = None
        for change in [*changes(self.zone, after, until), None]:
            end = until if change is None else change - SECOND
            for moment in self._with_offset(begin, end, before):
                if moment != last:
                    yield moment
            if change is not None:
                now = offset_at(self.zone, change)
                if not self.hourly and now > before and self._any(change + before, change + now):
                    last = change
                    yield change
                begin, before = change - SECOND, now

    def _with_offset(self, after: datetime, until: datetime, offset: timedelta) -> Iterator[datetime]:
        for local in self._local(after + offset, until + offset):
            moment = (local - offset).replace(tzinfo=UTC)
            if self.hourly or local.replace(tzinfo=self.zone, fold=0).astimezone(UTC) == moment:
                yield moment

    def _any(self, begin: datetime, end: datetime) -> bool:
        """Whether a slot has a local time from `begin` on and before `end`."""
        return any(True for _ in self._local(begin - SECOND, end - SECOND))

    def _local(self, after: datetime, until: datetime) -> Iterator[datetime]:
        for local in CronSim(self.fields, after.replace(tzinfo=None)):
            if local > until.replace(tzinfo=None):
                return
            yield local


@dataclass(frozen=True)
class Every:
    """An interval of real seconds."""

    seconds: int

    def between(self, after: datetime, until: datetime) -> Iterator[datetime]:
        """Those later than `after` up to and with `until`."""
        step = timedelta(seconds=self.seconds)
        moment = EPOCH + ((after - EPOCH) // step + 1) * step
        while moment <= until:
            yield moment
            moment += step


@dataclass(frozen=True)
class Once:
    """One moment."""

    moment: datetime

    def between(self, after: datetime, until: datetime) -> Iterator[datetime]:
        """The moment, if it lies there."""
        if after < self.moment <= until:
            yield self.moment


def local_moment(local: datetime, zone: tzinfo) -> datetime:
    """The moment of a local time: the first of two, and the first instant after the gap for one that does not exist."""
    early = local.replace(tzinfo=zone, fold=0).astimezone(UTC)
    if early.astimezone(zone).replace(tzinfo=None) == local:
        return early
    late = local.replace(tzinfo=zone, fold=1).astimezone(UTC)
    return next(changes(zone, min(early, late) - PROBE, max(early, late) + PROBE), early)


@dataclass(frozen=True)
class Sun:
    """The sun's rising or setting at a place, some minutes before or after."""

    what: Literal["rise", "set"]
    offset: timedelta
    latitude: float
    longitude: float

    def between(self, after: datetime, until: datetime) -> Iterator[datetime]:
        """Those later than `after` up to and with `until`."""
        day, last = self.day(after - self.offset) - DAY, self.day(until - self.offset) + DAY
        while day <= last:
            event = self.on(day)
            if event is not None and after < event + self.offset <= until:
                yield event + self.offset
            day += DAY

    def day(self, moment: datetime) -> date:
        """The day by the sun at a moment."""
        return moment.astimezone(self._solar).date()

    def on(self, day: date) -> datetime | None:
        """When it rises or sets on a day by the sun, without the offset; None where it does not that day."""
        found = self._event(day)
        if found is None:
            # The library loses the event of a day on which it passes midnight UTC: then it lies between its neighbours'.
            early, late = self._event(day - DAY), self._event(day + DAY)
            found = early + (late - early) / 2 if early is not None and late is not None else None
        return None if found is None else found.replace(microsecond=0)

    def _event(self, day: date) -> datetime | None:
        event = sunrise if self.what == "rise" else sunset
        try:
            return event(Observer(self.latitude, self.longitude), date=day, tzinfo=self._solar).astimezone(UTC)
        except ValueError:  # how the library says that the sun stays up, or down
            return None

    @property
    def _solar(self) -> timezone:
        """A zone whose noon is the sun's, within minutes: there no rising lies on another day than its noon."""
        return timezone(timedelta(minutes=round(self.longitude * 4)))
