"""`/journal`: what was commanded and what happened, newest first; as JSON by pages, or as a table to the end."""

from __future__ import annotations

from collections.abc import AsyncIterator
from datetime import datetime
from typing import Annotated, Any

from fastapi import APIRouter, Header, Path, Query, Response
from fastapi.responses import StreamingResponse
from pydantic import AwareDatetime, Field

from geartender.access.roles import Role, needs
from geartender.api.accepts import prefers
from geartender.api.deps import ServiceDep
from geartender.api.models import Listing
from geartender.api.openapi import problems
from geartender.api.rows import CSV_MEDIA_TYPE, csv_text
from geartender.errors import Invalid
from geartender.servo.models import Shown, TraceRow
from geartender.store.journal import Journal
from geartender.store.journal_rows import Entry, Search

router = APIRouter(prefix="/journal", tags=["journal"])

PAGE_MAX = 500
"""Entries of one page; also those of one part of a table, between which commands get their turn."""


class JournalEntry(Shown):
    """One thing that was commanded or that happened, and what became of it."""

    id: int = Field(description="Rises in the order of writing, whatever the clock said.")
    at: datetime = Field(description="When, UTC.")
    zone: str = Field(description="Time zone of the site at that time, by its IANA name.")
    kind: str = Field(description="`move home turn jog arm disarm reset stop override helm fault build run …`")
    servo: str | None
    who: str = Field(description="Who asked for it, or what did it.")
    via: str = Field(description="How it came: `person`, `run`, `timetable`, `pulse` or `service`.")
    motion: str | None = Field(description="Id of the motion.")
    run: str | None = Field(description="Id of the run of a sequence that it belongs to.")
    text: str = Field(description="What it is, in plain words.")
    what: dict[str, Any] = Field(description="What was asked for; for a change of settings, what changed.")
    result: str | None = Field(
        description="`done replaced stopped faulted lost refused missed skipped`; `unknown` after a crash; null while it goes on."
    )
    result_at: datetime | None
    reason: str | None = Field(description="Why it did not end as `done`, in plain words.")
    cause: str | None = Field(description="Cause of a fault, such as `overload`.")
    figures: dict[str, Any] = Field(description="Planned and actual figures of a motion.")
    late: bool = Field(description="Written only when the disk kept things again, not before it was done.")
    has_trace: bool = Field(description="Whether the seconds before a fault were kept with it.")


Since = Annotated[AwareDatetime | None, Query(description="Entries from this moment on.")]
Until = Annotated[AwareDatetime | None, Query(description="Entries from before this moment.")]
Kinds = Annotated[list[str] | None, Query(description="Only these kinds; may be repeated.", max_length=20)]
Servo = Annotated[str | None, Query(description="Only of this servo.", max_length=40)]
Run = Annotated[str | None, Query(description="Only of this run.", max_length=40)]
Words = Annotated[str | None, Query(description="Only with all of these words in text, reason or who.", max_length=200)]
Cursor = Annotated[str | None, Query(description="`next` of the page before.", pattern=r"^\d{1,18}$")]
After = Annotated[
    str | None,
    Query(description="Instead of the newest: oldest first, from after this entry on.", pattern=r"^\d{1,18}$"),
]
Limit = Annotated[int, Query(description="Entries of a page.", ge=1, le=PAGE_MAX)]
AcceptHeader = Annotated[str | None, Header(description="`text/csv` for a table (RFC 4180).", examples=["text/csv"])]
EntryId = Annotated[int, Path(alias="id", description="Id of the entry.", ge=1, le=2**62)]


@router.get(
    "",
    operation_id="listJournal",
    summary="What was commanded and what happened",
    description=(
        "A search for words or by time looks at a bounded part of the journal for each page: a page may have few entries, or none, "
        "and `next` all the same. As `text/csv` everything that is asked for comes in one answer, newest first."
    ),
    response_model=Listing[JournalEntry],
    responses={200: {"content": {"text/csv": {"schema": {"type": "string"}}}}, **problems("not-stored")},
)
@needs(Role.WATCH)
async def list_journal(
    service: ServiceDep,
    since: Since = None,
    until: Until = None,
    kind: Kinds = None,
    servo: Servo = None,
    run: Run = None,
    text: Words = None,
    cursor: Cursor = None,
    after: After = None,
    limit: Limit = 50,
    accept: AcceptHeader = None,
) -> Response | Listing[JournalEntry]:
    search = Search(since, until, tuple(dict.fromkeys(kind or ())), servo, run, text)
    journal = service.store.journal
    if cursor is not None and after is not None:
        raise Invalid("Give `cursor` for older entries or `after` for newer ones, not both.")
    if prefers(accept, "text/csv"):
        return await _table(journal, search)
    if after is not None:
        page = await journal.newer(search, int(after), limit)
    else:
        page = await journal.page(search, None if cursor is None else int(cursor), limit)
    return Listing[JournalEntry](
        items=[shown(entry) for entry in page.entries], next=None if page.next is None else str(page.next)
    )


@router.get("/{id}", operation_id="getJournalEntry", summary="One entry", responses=problems("unknown", "not-stored"))
@needs(Role.WATCH)
async def get_entry(service: ServiceDep, entry_id: EntryId) -> JournalEntry:
    return shown(await service.store.journal.entry(entry_id))


@router.get(
    "/{id}/trace",
    operation_id="getJournalTrace",
    summary="The seconds before a fault, as JSON or CSV; times count from the fault",
    response_model=Listing[TraceRow],
    responses={
        200: {"content": {"text/csv": {"schema": {"type": "string"}}}},
        **problems("unknown", "not-stored"),
    },
)
@needs(Role.WATCH)
async def get_entry_trace(
    service: ServiceDep, entry_id: EntryId, accept: AcceptHeader = None
) -> Response | Listing[TraceRow]:
    rows = [TraceRow(**row) for row in await service.store.journal.trace(entry_id)]
    if prefers(accept, "text/csv"):
        return Response(csv_text(TraceRow, rows), media_type=CSV_MEDIA_TYPE, headers={"Vary": "Accept"})
    return Listing[TraceRow](items=rows)


def shown(entry: Entry) -> JournalEntry:
    """An entry as the outside sees it."""
    note = entry.note
    return JournalEntry(
        id=entry.id,
        at=note.at,
        zone=note.zone,
        kind=note.kind,
        servo=note.servo,
        who=note.who,
        via=note.via,
        motion=note.motion,
        run=note.run,
        text=note.text,
        what=note.what,
        result=entry.result,
        result_at=entry.result_at,
        reason=entry.reason,
        cause=entry.cause,
        figures=entry.figures,
        late=entry.late,
        has_trace=entry.traced,
    )


async def _table(journal: Journal, search: Search) -> Response:
    """Everything asked for, part by part. The first part comes before the answer begins, so that an error is one."""
    page = await journal.page(search, None, PAGE_MAX)

    async def parts() -> AsyncIterator[str]:
        now, header = page, True
        while True:
            yield csv_text(JournalEntry, [shown(entry) for entry in now.entries], header=header)
            if now.next is None:
                return
            now, header = await journal.page(search, now.next, PAGE_MAX), False

    disposition = {"Vary": "Accept", "Content-Disposition": 'attachment; filename="journal.csv"'}
    return StreamingResponse(parts(), media_type=CSV_MEDIA_TYPE, headers=disposition)
