"""Puts an archive in the place of what is kept, in one transaction: all of it, or nothing."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import islice
from typing import Any

from sqlalchemy import Table, delete, func, insert, select, text
from sqlalchemy.orm import Session

from geartender.store import journal_rows, runs
from geartender.store.archive import AT_ONCE, JOINED, TABLES, Archive
from geartender.store.journal_rows import day_of
from geartender.store.tables import CredentialRow, DocumentRow, JournalDayRow, JournalRow, RunRow


def replace_all(session: Session, archive: Archive) -> None:
    """Replace everything. Revisions of documents go on rising, so that an old ETag never fits a new document."""
    risen = dict(
        session.execute(select(DocumentRow.kind, func.max(DocumentRow.revision)).group_by(DocumentRow.kind)).all()
    )
    for table in reversed(TABLES):
        session.execute(delete(table))
    session.execute(delete(JournalDayRow))
    for table in TABLES:
        rows = archive.table(table)
        if table.name == DocumentRow.__tablename__:
            rows = ({**row, "revision": row["revision"] + risen.get(row["kind"], 0)} for row in rows)
        for part in _parts(rows):
            session.execute(insert(table), part)
    join_credentials(session, archive)
    _work_out_days(session)
    _go_on_counting(session)


def join_credentials(session: Session, archive: Archive) -> None:
    """Let in those whom the archive knows and this store does not. One that was revoked here since then stays revoked."""
    here = session.execute(select(CredentialRow.id, CredentialRow.digest)).all()
    ids, digests = {row.id for row in here}, {row.digest for row in here}
    new = (row for row in archive.table(JOINED) if row["id"] not in ids and row["digest"] not in digests)
    for part in _parts(new):
        session.execute(insert(JOINED), part)


def end_what_was_open(session: Session, now: Any) -> None:
    """What was under way when the backup was made will never have its result here."""
    journal_rows.mark_unknown(session, now)
    runs.mark_unknown(session)


def _parts(rows: Iterable[dict[str, Any]]) -> Iterator[list[dict[str, Any]]]:
    rows = iter(rows)
    while part := list(islice(rows, AT_ONCE)):
        yield part


def _work_out_days(session: Session) -> None:
    days: dict[int, list[int]] = {}
    for entry, at in session.execute(select(JournalRow.id, JournalRow.at)).yield_per(AT_ONCE):
        found = days.setdefault(day_of(at), [entry, entry])
        found[0], found[1] = min(found[0], entry), max(found[1], entry)
    if days:
        session.execute(
            insert(JournalDayRow),
            [{"day": day, "first": first, "last": last} for day, (first, last) in days.items()],
        )


def _go_on_counting(session: Session) -> None:
    """Let PostgreSQL count on from the highest number; SQLite does so by itself."""
    if session.get_bind().dialect.name != "postgresql":
        return
    for table, column in ((JournalRow.__table__, "id"), (RunRow.__table__, "number")):
        _count_on(session, table, column)  # type: ignore[arg-type]


def _count_on(session: Session, table: Table, column: str) -> None:
    highest = session.scalar(select(func.max(table.c[column])))
    if highest is not None:
        session.execute(
            text("SELECT setval(pg_get_serial_sequence(:table, :column), :highest)"),
            {"table": table.name, "column": column, "highest": highest},
        )
