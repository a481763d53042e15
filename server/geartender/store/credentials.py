"""The phones and keys that were let in, as jobs for the database. Of their secrets only digests are kept.

A revoked one keeps its row: a backup of before must not bring it back.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass, fields
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from geartender.store.tables import CredentialRow


@dataclass(frozen=True, slots=True)
class Credential:
    """One phone or key."""

    id: str
    kind: str
    """`phone` or `key`."""
    name: str
    role: str
    servo: str | None
    """The one servo that it is for; None: all."""
    digest: str
    """SHA-256 of its secret, in hex."""
    passphrase: str | None
    """scrypt of the passphrase by which its owner proves to be there; None: not set."""
    created_at: datetime
    last_used_at: datetime | None
    expires_at: datetime | None
    revoked_at: datetime | None


def all_of(session: Session) -> list[Credential]:
    """All, revoked ones too, in the order in which they were made."""
    rows = session.scalars(select(CredentialRow).order_by(CredentialRow.created_at, CredentialRow.id))
    return [Credential(**{field.name: getattr(row, field.name) for field in fields(Credential)}) for row in rows]


def put(session: Session, *changed: Credential) -> None:
    """Add them, or renew those with their ids."""
    for one in changed:
        session.merge(CredentialRow(**asdict(one)))
