"""The journal's rows, as jobs for the database. Its order is that of writing (`id`), whatever the clock said.

Every query costs the same on ten thousand rows and on ten million: pages go by key, days say where a time is to be found, and a
search for words looks at a bounded number of rows and says where to go on.
"""

from __future__ import annotations

import json
import zlib
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from sqlalchemy import ColumnElement, func, or_, select, update
from sqlalchemy.orm import Session

from geartender.errors import Unknown
from geartender.store.tables import EPOCH, JournalDayRow, JournalRow, JournalTraceRow

SCANNED_MAX = 20_000
"""Rows that one search for words, or one at the edge of a time, looks at: some tenths of a second on a small board."""

UNKNOWN = "unknown"
NOT_KNOWN = "The service ended before the result was known."

LATE_LOOK = 1000
"""Rows looked back over for an entry whose writing failed without saying whether it had reached the disk."""


@dataclass(frozen=True, slots=True)
class Note:
    """What is to be done, or what has happened."""

    at: datetime
    zone: str
    kind: str
    servo: str | None
    who: str
    via: str
    text: str
    what: dict[str, Any] = field(default_factory=dict)
    motion: str | None = None
    run: str | None = None


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of it. `figures` are those of the motion; `trace` are the rows of the seconds before a fault."""

    result: str
    at: datetime
    reason: str | None = None
    cause: str | None = None
    figures: dict[str, Any] = field(default_factory=dict)
    trace: Sequence[dict[str, Any]] = ()


@dataclass(frozen=True, slots=True)
class Entry:
    """A note and its outcome as they are kept. `result` is None while it is under way."""

    id: int
    note: Note
    result: str | None
    result_at: datetime | None
    reason: str | None
    cause: str | None
    figures: dict[str, Any]
    late: bool
    """It was written only after the disk kept things again, not before it was done."""
    traced: bool


@dataclass(frozen=True, slots=True)
class Search:
    """Which entries; what is None or empty asks for nothing."""

    since: datetime | None = None
    until: datetime | None = None
    """Entries from before this moment."""
    kinds: tuple[str, ...] = ()
    servo: str | None = None
    run: str | None = None
    words: str | None = None


@dataclass(frozen=True, slots=True)
class Page:
    """Some entries, and the id below (or above) which the next ones are; None at the end."""

    entries: list[Entry]
    next: int | None


# Writing


def insert(session: Session, note: Note, outcome: Outcome | None, *, late: bool = False) -> int:
    """Write an entry; gives its id."""
    row = JournalRow(
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
        figures={},
        late=late,
        traced=False,
    )
    session.add(row)
    session.flush()
    _note_day(session, row)
    if outcome is not None:
        settle(session, row.id, outcome)
    return row.id


def settle(session: Session, entry: int, outcome: Outcome) -> None:
    """Write what became of it; nothing happens to an entry that retention has taken meanwhile."""
    session.execute(
        update(JournalRow)
        .where(JournalRow.id == entry)
        .values(
            result=outcome.result,
            result_at=outcome.at,
            reason=outcome.reason,
            cause=outcome.cause,
            figures=outcome.figures,
            traced=bool(outcome.trace),
        )
    )
    if outcome.trace:
        session.merge(JournalTraceRow(entry=entry, rows=zlib.compress(json.dumps(list(outcome.trace)).encode())))


def insert_late(session: Session, note: Note, outcome: Outcome | None) -> int:
    """Write an entry that could not be written in its time, unless the disk turns out to have it; gives its id."""
    newest = session.scalar(select(func.max(JournalRow.id))) or 0
    found = session.scalar(
        select(JournalRow.id).where(
            JournalRow.id > newest - LATE_LOOK,
            JournalRow.at == note.at,
            JournalRow.kind == note.kind,
            JournalRow.text == note.text,
            JournalRow.motion.is_not_distinct_from(note.motion),
            JournalRow.servo.is_not_distinct_from(note.servo),
        )
    )
    if found is None:
        return insert(session, note, outcome, late=True)
    if outcome is not None:
        settle(session, found, outcome)
    return found


def mark_unknown(session: Session, now: datetime) -> int:
    """At the start: what has no result yet will never have one. Gives how many."""
    result = session.execute(
        update(JournalRow).where(JournalRow.result.is_(None)).values(result=UNKNOWN, result_at=now, reason=NOT_KNOWN)
    )
    return int(result.rowcount)  # type: ignore[attr-defined]


def _note_day(session: Session, row: JournalRow) -> None:
    day = day_of(row.at)
    found = session.get(JournalDayRow, day)
    if found is None:
        session.add(JournalDayRow(day=day, first=row.id, last=row.id))
    else:
        found.last = max(found.last, row.id)


# Reading


def page(session: Session, search: Search, before: int | None, limit: int) -> Page:
    """Newest first, from below an id on."""
    low, high = _range(session, search)
    if before is not None:
        high = min(high, before - 1)
    floor = max(low, high - SCANNED_MAX + 1) if _scans(search) else low
    entries = _found(session, search, floor, high, limit, newest=True)
    if len(entries) == limit:
        return Page(entries, entries[-1].id)
    return Page(entries, floor if floor > low else None)


def newer(session: Session, search: Search, after: int, limit: int) -> Page:
    """Oldest first, from above an id on; `next` is where to go on, also when there is nothing yet."""
    low, high = _range(session, search)
    low = max(low, after + 1)
    ceiling = min(high, low + SCANNED_MAX - 1) if _scans(search) else high
    entries = _found(session, search, low, ceiling, limit, newest=False)
    if len(entries) == limit:
        return Page(entries, entries[-1].id)
    return Page(entries, max(after, ceiling))


def get(session: Session, entry: int) -> Entry:
    """One entry. Raises Unknown."""
    row = session.get(JournalRow, entry)
    if row is None:
        raise Unknown(f"There is no entry {entry} in the journal, or it is too long ago.")
    return _entry(row)


def trace(session: Session, entry: int) -> list[dict[str, Any]]:
    """The trace kept with an entry. Raises Unknown when it has none."""
    row = session.get(JournalTraceRow, entry)
    if row is None:
        raise Unknown(f"Entry {entry} of the journal has no trace.")
    rows: list[dict[str, Any]] = json.loads(zlib.decompress(row.rows))
    return rows


def day_of(at: datetime) -> int:
    """The number of a day, UTC, counted from 1970."""
    return (at - EPOCH).days


def _range(session: Session, search: Search) -> tuple[int, int]:
    """Lowest and highest id that the time asked for can have."""
    if search.since is None and search.until is None:
        highest = session.scalar(select(func.max(JournalRow.id))) or 0
        lowest = session.scalar(select(func.min(JournalRow.id))) or 1
        return lowest, highest
    query = select(func.min(JournalDayRow.first), func.max(JournalDayRow.last))
    if search.since is not None:
        query = query.where(JournalDayRow.day >= day_of(search.since))
    if search.until is not None:
        query = query.where(JournalDayRow.day <= day_of(search.until))
    low, high = session.execute(query).one()
    return low or 1, high or 0


def _scans(search: Search) -> bool:
    """Whether rows must be looked at that do not belong to what is asked for."""
    return any((search.words, search.since, search.until))


def _found(session: Session, search: Search, low: int, high: int, limit: int, *, newest: bool) -> list[Entry]:
    """One query for each kind: the index by kind and id gives each its newest at once, but not those of several kinds."""
    if low > high:
        return []
    order = JournalRow.id.desc() if newest else JournalRow.id.asc()
    rows: list[JournalRow] = []
    for kind in search.kinds or (None,):
        query = select(JournalRow).where(JournalRow.id.between(low, high), *_conditions(search))
        if kind is not None:
            query = query.where(JournalRow.kind == kind)
        rows += session.scalars(query.order_by(order).limit(limit))
    rows.sort(key=lambda row: row.id, reverse=newest)
    return [_entry(row) for row in rows[:limit]]


def _conditions(search: Search) -> list[ColumnElement[bool]]:
    found: list[ColumnElement[bool]] = []
    if search.since is not None:
        found.append(JournalRow.at >= search.since)
    if search.until is not None:
        found.append(JournalRow.at < search.until)
    if search.servo is not None:
        found.append(JournalRow.servo == search.servo)
    if search.run is not None:
        found.append(JournalRow.run == search.run)
    found += [_speaks_of(word) for word in (search.words or "").split()]
    return found


def _speaks_of(word: str) -> ColumnElement[bool]:
    columns = (JournalRow.text, JournalRow.reason, JournalRow.who)
    return or_(*(column.icontains(word, autoescape=True) for column in columns))


def _entry(row: JournalRow) -> Entry:
    note = Note(row.at, row.zone, row.kind, row.servo, row.who, row.via, row.text, row.what, row.motion, row.run)
    return Entry(row.id, note, row.result, row.result_at, row.reason, row.cause, row.figures, row.late, row.traced)
