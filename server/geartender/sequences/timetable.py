"""An entry of the timetable: which sequence runs by itself, and when. What is due when follows in `slots`."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Annotated, Any, Literal, Self
from zoneinfo import ZoneInfo, available_timezones

from pydantic import BeforeValidator, ConfigDict, Discriminator, Field, Tag, model_validator

from geartender.errors import DocumentError
from geartender.sequences.model import Name
from geartender.sequences.reading import mistake_at, read_document
from geartender.sequences.slots import Cron, Every, Once, Slots, Sun, local_moment
from geartender.servo.requests import Request

TIMETABLE = "timetable"
"""Kind of document under which entries are stored."""

SHORTEST_S = 60
"""s; what is more frequent is a repeat in a sequence."""

LONGEST_S = 366 * 86_400

OFFSET_MAX_MIN = 720
"""min; half a day from the sun's rising or setting."""

WITHIN_MAX_MIN = 1440
"""min; a day late is another day's."""


class WithinMin(Request):
    """Catch up what could not be done in time."""

    within_min: Annotated[int, Field(ge=1, le=WITHIN_MAX_MIN)] = Field(description="Minutes that it may be late.")


def _known(value: Any) -> Any:
    if isinstance(value, dict | WithinMin) or value == "skip":
        return value
    raise ValueError('should be "skip" or {"within_min": MINUTES}')


Missed = Annotated[
    Annotated[Literal["skip"], Tag("as-word")] | Annotated[WithinMin, Tag("as-minutes")],
    Discriminator(lambda value: "as-word" if isinstance(value, str) else "as-minutes"),
    BeforeValidator(_known),
]


class Entry(Request):
    """A sequence that runs by itself. Exactly one of cron, sun, every_s and once says when."""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {"sequence": "air-at-noon", "cron": "0 12 * * *", "missed": {"within_min": 10}},
                {"sequence": "close", "sun": "set", "offset_min": -30, "busy": "wait"},
            ]
        }
    )

    note: Annotated[str, Field(max_length=4000)] = Field("", description="What it is for.")
    sequence: Name = Field(description="Name of the sequence.")
    servo: Name | None = Field(None, description="The servo, in place of the one that the sequence names.")
    zone: str | None = Field(None, description="IANA time zone of `cron` and `once`; else the site's.")
    enabled: bool = Field(default=True, description="Whether it runs.")
    missed: Missed = Field(
        "skip", description="When it could not begin in time: skip it, or catch up within so many minutes. Never twice."
    )
    busy: Literal["skip", "wait"] = Field(
        "skip",
        description="When something else moves the servo: skip it, or wait until that is over or the next slot comes.",
    )
    cron: Annotated[str, Field(max_length=200)] | None = Field(
        None, description="Five fields: minute, hour, day of the month, month, day of the week."
    )
    sun: Literal["rise", "set"] | None = Field(None, description="At the sun's rising or setting.")
    offset_min: Annotated[int, Field(ge=-OFFSET_MAX_MIN, le=OFFSET_MAX_MIN)] = Field(
        0, description="With `sun`: minutes after it, negative before it."
    )
    every_s: Annotated[int, Field(ge=SHORTEST_S, le=LONGEST_S)] | None = Field(
        None, description="Every so many seconds, counted from 1970-01-01 00:00 UTC."
    )
    once: datetime | None = Field(None, description="Once, at this time; without an offset, in `zone`.")

    @model_validator(mode="after")
    def _one_when(self) -> Self:
        given = [name for name in ("cron", "sun", "every_s", "once") if getattr(self, name) is not None]
        if len(given) != 1:
            raise ValueError(f"give exactly one of cron, sun, every_s and once; there are {len(given)}")
        if self.offset_min and self.sun is None:
            raise ValueError("offset_min goes with sun only")
        return self


@dataclass(frozen=True, slots=True)
class Site:
    """Where the machine stands."""

    zone: str = "UTC"
    latitude: float | None = None
    longitude: float | None = None


def parse_entry(document: object, site: Site, sequences: Iterable[str], servos: Iterable[str]) -> Entry:
    """An entry from a JSON value, checked as a whole. Raises DocumentError with every mistake in it."""
    entry = read_document(Entry, document, "timetable entry")
    found = []
    known = sorted(sequences)
    if entry.sequence not in known:
        found.append(
            ("sequence", f"there is no sequence {entry.sequence!r}; stored are: {', '.join(known) or 'none yet'}")
        )
    if entry.servo is not None and entry.servo not in set(servos):
        found.append(("servo", f"there is no servo {entry.servo!r} here; servos are: {', '.join(servos) or 'none'}"))
    if entry.zone is not None and entry.zone not in available_timezones():
        found.append(("zone", f"{entry.zone!r} is no time zone; write it like Europe/Lisbon or UTC"))
    elif entry.sun is not None and site.latitude is None:
        found.append(
            ("sun", "where the machine stands is not known; give latitude and longitude in [site] of the configuration")
        )
    else:
        try:
            slots_of(entry, site)
        except ValueError as error:
            found.append(("cron", str(error)))
    if found:
        raise DocumentError("timetable entry", [mistake_at((field,), text) for field, text in found])
    return entry


def entry_document(entry: Entry) -> dict[str, Any]:
    """The entry as a JSON value with only what was written into it."""
    return entry.model_dump(mode="json", exclude_unset=True, exclude_none=True)


def zone_of(entry: Entry, site: Site) -> ZoneInfo:
    """The zone in which its local times are."""
    return ZoneInfo(entry.zone or site.zone)


def slots_of(entry: Entry, site: Site) -> Slots:
    """When an entry is due. Raises ValueError for one that cannot be."""
    zone = zone_of(entry, site)
    if entry.cron is not None:
        return Cron(entry.cron, zone)
    if entry.every_s is not None:
        return Every(entry.every_s)
    if entry.once is not None:
        return Once(entry.once.astimezone(UTC) if entry.once.tzinfo else local_moment(entry.once, zone))
    if site.latitude is None or site.longitude is None or entry.sun is None:
        raise ValueError("where the machine stands is not known")
    return Sun(entry.sun, timedelta(minutes=entry.offset_min), site.latitude, site.longitude)
