"""Documents and states, as jobs for the database. A document has a whole-number revision that only ever rises."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from geartender.errors import Stale, Unknown
from geartender.store.tables import DocumentRow, StateRow

CHANGED = "It was changed since you read it. Read it again, and put your change into what you find."
EXISTS = "It exists already. To change it, read it and send If-Match with its ETag."


@dataclass(frozen=True, slots=True)
class Document:
    """A document as it is kept."""

    kind: str
    name: str
    revision: int
    """Rises with each change and is never used twice for a name, also after it was deleted and made anew."""
    body: dict[str, Any]
    changed_at: datetime

    @property
    def etag(self) -> str:
        """The strong entity tag of this revision."""
        return f'"{self.revision}"'


def get(session: Session, kind: str, name: str) -> Document:
    """One document. Raises Unknown."""
    row = session.get(DocumentRow, (kind, name))
    if row is None or row.body is None:
        raise Unknown(f"There is no {kind} named {name!r}.")
    return _document(row)


def listed(session: Session, kind: str) -> list[Document]:
    """All of a kind, by name."""
    rows = session.scalars(
        select(DocumentRow).where(DocumentRow.kind == kind, DocumentRow.body.is_not(None)).order_by(DocumentRow.name)
    )
    return [_document(row) for row in rows]


def put(session: Session, kind: str, name: str, body: dict[str, Any], expected: int | None, now: datetime) -> Document:
    """Make it (`expected` None) or replace that revision. Raises Stale when it exists already, or is another one."""
    row = session.get(DocumentRow, (kind, name))
    _require(row, expected)
    if row is None:
        row = DocumentRow(kind=kind, name=name, revision=0)
        session.add(row)
    row.revision, row.body, row.changed_at = row.revision + 1, body, now
    return _document(row)


def delete(session: Session, kind: str, name: str, expected: int, now: datetime) -> None:
    """Delete that revision. Raises Unknown when there is none, Stale when it is another one."""
    get(session, kind, name)
    row = session.get_one(DocumentRow, (kind, name))
    _require(row, expected)
    row.revision, row.body, row.changed_at = row.revision + 1, None, now


def state(session: Session, kind: str, name: str) -> dict[str, Any] | None:
    """A state, or None."""
    row = session.get(StateRow, (kind, name))
    return None if row is None else row.value


def states(session: Session, kind: str) -> dict[str, dict[str, Any]]:
    """All states of a kind, by name."""
    rows = session.scalars(select(StateRow).where(StateRow.kind == kind).order_by(StateRow.name))
    return {row.name: row.value for row in rows}


def set_state(session: Session, kind: str, name: str, value: dict[str, Any] | None) -> None:
    """Keep a state; None forgets it."""
    row = session.get(StateRow, (kind, name))
    if value is None:
        if row is not None:
            session.delete(row)
    elif row is None:
        session.add(StateRow(kind=kind, name=name, value=value))
    else:
        row.value = value


def _require(row: DocumentRow | None, expected: int | None) -> None:
    exists = row is not None and row.body is not None
    if expected is None and exists:
        raise Stale(EXISTS, etag=f'"{row.revision}"' if row else "")
    if expected is not None and (not exists or row is None or row.revision != expected):
        raise Stale(CHANGED, etag=f'"{row.revision}"' if row is not None and exists else "")


def _document(row: DocumentRow) -> Document:
    return Document(row.kind, row.name, row.revision, row.body or {}, row.changed_at)
