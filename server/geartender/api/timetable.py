"""`/timetable`: which sequences run by themselves, and when."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Query, Response
from pydantic import Field

from geartender.access.roles import Role, needs
from geartender.api import documents
from geartender.api.deps import ServiceDep, WhoDep
from geartender.api.documents import DocumentBody, DocumentName, IfMatch, IfNoneMatch
from geartender.api.models import Listing
from geartender.api.openapi import problems
from geartender.api.service import Service
from geartender.sequences.reading import read_document, read_stored
from geartender.sequences.runs import SEQUENCE
from geartender.sequences.timetable import TIMETABLE, Entry, entry_document, parse_entry, slots_of, zone_of
from geartender.servo.models import Shown

router = APIRouter(prefix="/timetable", tags=["sequences"])

SHOWN: dict[int | str, dict[str, Any]] = {
    200: {
        "description": "The entry.",
        "headers": {"ETag": {"schema": {"type": "string"}, "description": "Its revision."}},
    }
}
NOT_CHANGED: dict[int | str, dict[str, Any]] = {304: {"description": "You have it already."}}
MADE: dict[int | str, dict[str, Any]] = {201: {"description": "Made."}}

SUN_LOOK = timedelta(days=31)
SUN_EVENTS: tuple[Literal["rise", "set"], ...] = ("rise", "set")

NEXT = 10
"""Slots shown."""

Number = Annotated[int, Query(ge=1, le=500, description="How many slots.")]


class Slot(Shown):
    """One time at which an entry is due."""

    at: datetime = Field(description="The moment, UTC.")
    local: str = Field(description="The same in the entry's zone, with its offset from UTC.")


class EntryItem(Shown):
    """One entry of the timetable in the list."""

    name: str
    etag: str = Field(description="Its revision, for If-Match.")
    document: dict[str, Any] = Field(description="What was saved.")
    next: Slot | None = Field(description="When it is due next; null when it never is, or is not enabled.")
    waits: str | None = Field(description="Why the slot that is due has not begun yet; null when none waits.")


class SunTimes(Shown):
    """The sun at the site."""

    rise: datetime | None = Field(description="Its next rising, UTC; null where it does not rise within a month.")
    set: datetime | None = Field(description="Its next setting, UTC; null where it does not set within a month.")


class TimetableListing(Listing[EntryItem]):
    """All entries, and what they all depend on."""

    zone: str = Field(description="The site's time zone.")
    sun: SunTimes | None = Field(description="Null where the site's place is not known.")
    clock_right: bool = Field(description="Whether the clock is known to be right; before, nothing runs by itself.")
    unattended: list[str] = Field(
        description="Servos that the timetable may arm and home by itself, by the owner's decision."
    )


@router.get(
    "",
    operation_id="listTimetable",
    summary="All entries of the timetable, by name, each with its next time",
    responses=problems("not-stored"),
)
@needs(Role.WATCH)
async def list_timetable(service: ServiceDep) -> TimetableListing:
    stored = await service.store.documents(TIMETABLE)
    items = []
    for one in stored:
        entry = read_stored(Entry, one.body)
        slots = shown_slots(service, entry, 1) if entry is not None and entry.enabled else []
        items.append(
            EntryItem(
                name=one.name,
                etag=one.etag,
                document=one.body,
                next=slots[0] if slots else None,
                waits=service.timekeeper.waits(one.name),
            )
        )
    return TimetableListing(
        items=items,
        zone=service.site.zone,
        sun=sun_times(service),
        clock_right=service.timekeeper.clock_is_right,
        unattended=sorted(service.runs.unattended),
    )


def sun_times(service: Service) -> SunTimes | None:
    """When the sun rises and sets next."""
    if service.site.latitude is None:
        return None
    now = service.world.wall()
    rise, setting = (
        next(slots_of(Entry(sequence="any", sun=what), service.site).between(now, now + SUN_LOOK), None)
        for what in SUN_EVENTS
    )
    return SunTimes(rise=rise, set=setting)


def shown_slots(service: Service, entry: Entry, number: int) -> list[Slot]:
    """The next slots of an entry, enabled or not."""
    zone = zone_of(entry, service.site)
    return [
        Slot(at=slot, local=slot.astimezone(zone).isoformat(timespec="seconds"))
        for slot in service.timekeeper.upcoming(entry, number)
    ]


@router.get(
    "/{name}",
    operation_id="getTimetableEntry",
    summary="One entry, as it was saved",
    response_model=None,
    responses={**SHOWN, **NOT_CHANGED, **problems("unknown", "not-stored")},
)
@needs(Role.WATCH)
async def get_entry(
    response: Response, service: ServiceDep, name: DocumentName, if_none_match: IfNoneMatch = None
) -> Response | dict[str, Any]:
    document = await service.store.document(TIMETABLE, name)
    response.headers.update(documents.headers_of(document))
    return documents.not_modified(document, if_none_match) or document.body


@router.get(
    "/{name}/next",
    operation_id="getNextSlots",
    summary="When an entry is due next, whether it is enabled or not",
    description="A local time that does not exist, because the clock is put forward over it, is due at the first instant after. "
    "One that comes twice is due the first time. With `*` in the hour field the hours that really pass are counted.",
    responses=problems("unknown", "not-stored"),
)
@needs(Role.WATCH)
async def next_slots(service: ServiceDep, name: DocumentName, number: Number = NEXT) -> Listing[Slot]:
    document = await service.store.document(TIMETABLE, name)
    entry = read_document(Entry, document.body, "timetable entry")
    return Listing[Slot](items=shown_slots(service, entry, number))


@router.put(
    "/{name}",
    operation_id="putTimetableEntry",
    summary="Save an entry; it counts from now on",
    response_model=None,
    responses={**SHOWN, **MADE, **problems("stale", "revision-required", "not-stored", "too-large", "not-json")},
    openapi_extra=documents.schema_of("Entry"),
)
@needs(Role.DRIVE)
async def put_entry(
    response: Response,
    service: ServiceDep,
    name: DocumentName,
    who: WhoDep,
    body: DocumentBody,
    if_match: IfMatch = None,
    if_none_match: IfNoneMatch = None,
) -> dict[str, Any]:
    documents.new_name(name)
    documents.require(await documents.found(service, TIMETABLE, name), if_match, if_none_match)
    sequences = [one.name for one in await service.store.documents(SEQUENCE)]
    entry = parse_entry(body, service.site, sequences, service.servos)
    document, made = await documents.put(
        service, TIMETABLE, name, entry_document(entry), (if_match, if_none_match), who
    )
    service.timekeeper.changed()
    response.status_code = 201 if made else 200
    response.headers.update(documents.headers_of(document))
    return document.body


@router.delete(
    "/{name}",
    status_code=204,
    operation_id="deleteTimetableEntry",
    summary="Delete an entry; what it has started goes on",
    responses=problems("unknown", "stale", "revision-required", "not-stored"),
)
@needs(Role.DRIVE)
async def delete_entry(service: ServiceDep, name: DocumentName, who: WhoDep, if_match: IfMatch = None) -> None:
    await documents.delete(service, TIMETABLE, name, if_match, who)
    service.store.notices.clear("missed", name)
    service.timekeeper.changed()
