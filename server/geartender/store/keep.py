"""How long things are kept: the journal and the runs by age, the journal by size as well. Jobs for the database.

Each job deletes a bounded number of rows, so that commands get their turn in between.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy import delete, func, select, text
from sqlalchemy.orm import Session

from geartender.store.journal_rows import day_of
from geartender.store.runs import UNDER_WAY
from geartender.store.tables import JournalDayRow, JournalRow, RunRow

AT_ONCE = 2000
"""Rows that one job deletes: some tenths of a second on a memory card."""

FREED_PAGES = 500
"""Pages that one job gives back to the disk."""

ROOM = 0.9
"""Share of the largest size down to which the oldest entries go, so that this does not happen every day."""


@dataclass(frozen=True, slots=True)
class Keeping:
    """How long."""

    days: int
    max_bytes: int


def thin_out(session: Session, keeping: Keeping, now: datetime) -> bool:
    """Delete some of what is too old or too much; whether there may be more."""
    more = _by_age(session, now - timedelta(days=keeping.days)) or _by_size(session, keeping.max_bytes)
    return _give_back(session) or more


def used_bytes(session: Session) -> int:
    """Bytes that the database uses, without the room inside it that is free."""
    if session.get_bind().dialect.name == "sqlite":
        pages, free, size = (
            session.scalar(text(f"PRAGMA {name}")) or 0 for name in ("page_count", "freelist_count", "page_size")
        )
        return (pages - free) * size
    return session.scalar(text("SELECT pg_database_size(current_database())")) or 0


def _by_age(session: Session, limit: datetime) -> bool:
    kept = session.scalar(select(func.min(JournalDayRow.first)).where(JournalDayRow.day >= day_of(limit)))
    newest = session.scalar(select(func.max(JournalRow.id))) or 0
    more = _delete_below(session, newest if kept is None else kept)
    session.execute(delete(RunRow).where(RunRow.asked_at < limit, RunRow.state.not_in(UNDER_WAY)))
    return more


def _by_size(session: Session, largest: int) -> bool:
    used = used_bytes(session)
    if used <= largest:
        return False
    lowest, highest = session.execute(select(func.min(JournalRow.id), func.max(JournalRow.id))).one()
    if lowest is None or lowest == highest:
        return False
    share = 1 - ROOM * largest / used
    return _delete_below(session, lowest + max(1, round((highest - lowest) * share)))


def _delete_below(session: Session, entry: int) -> bool:
    """Delete some of the oldest entries below an id; whether there are more."""
    lowest = session.scalar(select(func.min(JournalRow.id)))
    if lowest is None or lowest >= entry:
        return False
    bound = min(entry, lowest + AT_ONCE)
    session.execute(delete(JournalRow).where(JournalRow.id < bound))
    session.execute(delete(JournalDayRow).where(JournalDayRow.last < bound))
    return bool(bound < entry)


def _give_back(session: Session) -> bool:
    """Give some free pages back to the disk; whether there are more."""
    if session.get_bind().dialect.name != "sqlite":
        return False  # PostgreSQL does so by itself
    free = session.scalar(text("PRAGMA freelist_count")) or 0
    for _ in range(min(free, FREED_PAGES)):
        session.execute(text("PRAGMA incremental_vacuum(1)"))
    return bool(free > FREED_PAGES)
