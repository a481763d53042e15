"""The tables. What they hold is said beside each; times are UTC, in whole microseconds since 1970.

A change here needs a migration (see DEVELOPERS.md); a test holds the two together.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

from sqlalchemy import JSON, BigInteger, ForeignKey, Index, Integer, LargeBinary, MetaData, String, Text
from sqlalchemy import text as sql
from sqlalchemy.engine import Dialect
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column
from sqlalchemy.types import TypeDecorator

NAMES = {
    "pk": "pk_%(table_name)s",
    "fk": "fk_%(table_name)s_%(column_0_name)s_%(referred_table_name)s",
    "uq": "uq_%(table_name)s_%(column_0_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
}
"""Every constraint has a name: one without cannot be dropped on SQLite later."""

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
MICROSECOND = timedelta(microseconds=1)

Counter = BigInteger().with_variant(Integer, "sqlite")
"""A number that the database counts up; SQLite does that for its own kind of integer only, which has 64 bits as well."""


class UtcTime(TypeDecorator[datetime]):
    """A moment as whole microseconds since 1970: the same on every database, and it sorts."""

    impl = BigInteger
    cache_ok = True

    @property
    def python_type(self) -> type[datetime]:
        """What it is in Python."""
        return datetime

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> int | None:  # noqa: ARG002 - SQLAlchemy's
        """To microseconds."""
        return None if value is None else (value - EPOCH) // MICROSECOND

    def process_result_value(self, value: int | None, dialect: Dialect) -> datetime | None:  # noqa: ARG002 - SQLAlchemy's
        """From microseconds."""
        return None if value is None else EPOCH + value * MICROSECOND


class Base(DeclarativeBase):
    """Common ground of all tables."""

    metadata = MetaData(naming_convention=NAMES)
    type_annotation_map = {dict[str, Any]: JSON, list[Any]: JSON, datetime: UtcTime, str: Text}  # noqa: RUF012 - SQLAlchemy's


class DocumentRow(Base):
    """A document by kind and name. A deleted one keeps its row, so that its revision is never used again."""

    __tablename__ = "documents"

    kind: Mapped[str] = mapped_column(String(40), primary_key=True)
    name: Mapped[str] = mapped_column(String(80), primary_key=True)
    revision: Mapped[int] = mapped_column(BigInteger)
    body: Mapped[dict[str, Any] | None] = mapped_column(JSON(none_as_null=True))
    changed_at: Mapped[datetime]


class StateRow(Base):
    """What the service must not forget, by kind and name, such as when a timetable entry fired last."""

    __tablename__ = "states"

    kind: Mapped[str] = mapped_column(String(40), primary_key=True)
    name: Mapped[str] = mapped_column(String(80), primary_key=True)
    value: Mapped[dict[str, Any]]


class RunRow(Base):
    """One execution of a sequence, without its steps."""

    __tablename__ = "runs"

    number: Mapped[int] = mapped_column(Counter, primary_key=True, autoincrement=True)
    id: Mapped[str] = mapped_column(String(40), unique=True)
    sequence: Mapped[str] = mapped_column(String(80))
    servo: Mapped[str | None] = mapped_column(String(40))
    state: Mapped[str] = mapped_column(String(20))
    asked_by: Mapped[str]
    asked_at: Mapped[datetime]
    started_at: Mapped[datetime | None]
    ended_at: Mapped[datetime | None]
    reason: Mapped[str | None]
    detail: Mapped[dict[str, Any]]


class RunStepRow(Base):
    """What became of one step of a run. A row of its own: a long run must not be written anew with each step."""

    __tablename__ = "run_steps"

    run: Mapped[str] = mapped_column(String(40), ForeignKey("runs.id", ondelete="CASCADE"), primary_key=True)
    position: Mapped[int] = mapped_column(Integer, primary_key=True, autoincrement=False)
    body: Mapped[dict[str, Any]]


class JournalRow(Base):
    """One thing that was commanded or that happened, with what became of it. `result` is null while that is not known."""

    __tablename__ = "journal"

    id: Mapped[int] = mapped_column(Counter, primary_key=True, autoincrement=True)
    at: Mapped[datetime]
    zone: Mapped[str] = mapped_column(String(64))
    kind: Mapped[str] = mapped_column(String(40))
    servo: Mapped[str | None] = mapped_column(String(40))
    who: Mapped[str]
    via: Mapped[str] = mapped_column(String(20))
    motion: Mapped[str | None] = mapped_column(String(40))
    run: Mapped[str | None] = mapped_column(String(40))
    text: Mapped[str]
    what: Mapped[dict[str, Any]]
    result: Mapped[str | None] = mapped_column(String(20))
    result_at: Mapped[datetime | None]
    cause: Mapped[str | None] = mapped_column(String(40))
    reason: Mapped[str | None]
    figures: Mapped[dict[str, Any]]
    late: Mapped[bool]
    traced: Mapped[bool]

    __table_args__ = (
        Index(None, "kind", "id"),
        Index(None, "servo", "id"),
        Index(None, "servo", "kind", "id"),
        Index(
            "ix_journal_run",
            "run",
            "id",
            sqlite_where=sql("run IS NOT NULL"),
            postgresql_where=sql("run IS NOT NULL"),
        ),
        Index("ix_journal_open", "id", sqlite_where=sql("result IS NULL"), postgresql_where=sql("result IS NULL")),
        {"sqlite_autoincrement": True},
    )


class JournalTraceRow(Base):
    """The trace of the seconds before a fault, squeezed; apart from its entry, so that reading the journal stays quick."""

    __tablename__ = "journal_traces"

    entry: Mapped[int] = mapped_column(
        Counter, ForeignKey("journal.id", ondelete="CASCADE"), primary_key=True, autoincrement=False
    )
    rows: Mapped[bytes] = mapped_column(LargeBinary)


class JournalDayRow(Base):
    """Which entries a day of the wall clock (UTC) has: lowest and highest id, so that a time is found without a search.

    A clock that was set makes the ranges of days overlap; an entry is then found all the same.
    """

    __tablename__ = "journal_days"

    day: Mapped[int] = mapped_column(Integer, primary_key=True, autoincrement=False)
    first: Mapped[int] = mapped_column(BigInteger)
    last: Mapped[int] = mapped_column(BigInteger)


class CredentialRow(Base):
    """A phone or a key that was let in. Of its secret only a digest; a revoked one keeps its row."""

    __tablename__ = "credentials"

    id: Mapped[str] = mapped_column(String(40), primary_key=True)
    kind: Mapped[str] = mapped_column(String(20))
    name: Mapped[str]
    role: Mapped[str] = mapped_column(String(20))
    servo: Mapped[str | None] = mapped_column(String(40))
    digest: Mapped[str] = mapped_column(String(64), unique=True)
    passphrase: Mapped[str | None] = mapped_column(String(200))
    created_at: Mapped[datetime]
    last_used_at: Mapped[datetime | None]
    expires_at: Mapped[datetime | None]
    revoked_at: Mapped[datetime | None]
