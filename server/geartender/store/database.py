"""The database itself, with no event loop in sight: opened once, used from one thread, one transaction after the other.

After a write or a sync that failed nothing more is written through the same connection: what the disk holds is not known
until the database was opened anew.
"""

from __future__ import annotations

import logging
import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

from sqlalchemy import Engine, StaticPool, create_engine, event, make_url, text
from sqlalchemy.orm import Session

from geartender.errors import NotStored
from geartender.store import documents
from geartender.store.lock import FileLock
from geartender.store.migrate import bring_up_to_date, copy_database
from geartender.store.space import FLOOR_BYTES, Ballast
from geartender.store.trouble import TELLS, StoreInUse, StoreTooNew, Trouble, trouble_of

log = logging.getLogger(__name__)
T = TypeVar("T")

BUSY_TIMEOUT_MS = 5000
"""ms that SQLite waits for a reader of another process, such as a backup by hand."""

KEPT_PER_CHECKPOINT = 1000
"""Pages of 4 KiB in the log before they are put into the file: a few minutes of a busy servo."""

ADVISORY_LOCK = 0x6765_6172
"""The number under which PostgreSQL holds the lock of the one opener; any number of our own will do."""

MEMORY = "sqlite://"
"""The address of a database that ends with the process."""


class Database:
    """One database. Every method is for the worker's thread; `trouble` may be read from anywhere."""

    def __init__(self, url: str, free_bytes: Callable[[Path], int]) -> None:
        self.url = make_url(url)
        self._free_bytes = free_bytes
        self.trouble: Trouble | None = Trouble.UNREACHABLE
        """What is wrong; None while it is open and keeps what it is given."""
        self._engine: Engine | None = None
        self._lock = FileLock(self.file.with_name(self.file.name + ".lock")) if self.file else None
        self._ballast = Ballast(self.file.with_name(self.file.name + ".ballast")) if self.file else None
        self.free: int | None = None
        """Bytes free where the file lies, as last looked; None where that is not known."""

    @property
    def file(self) -> Path | None:
        """The file it lives in, if it does."""
        in_file = self.url.get_backend_name() == "sqlite" and self.url.database not in (None, "", ":memory:")
        return Path(str(self.url.database).removeprefix("file:").partition("?")[0]) if in_file else None

    def open(self) -> None:
        """Open it, or open it anew, and bring its tables up to date; `trouble` says whether that went well.

        Raises StoreInUse and StoreTooNew: then the service must not start.
        """
        self.forget()
        try:
            self._take_lock()
            self._engine = self._make_engine()
            bring_up_to_date(self._engine, self.file)
            self._try_out()
        except NotStored:
            pass  # noted already
        except (StoreInUse, StoreTooNew):
            self.close()
            raise
        except Exception as error:  # noqa: BLE001 - sorted there, and raised when it is not the store's
            self._note(error)

    def look_for_room(self) -> None:
        """Look how much room there is, and have the ballast again when there is enough. For a database in a file."""
        if self.file is None or self._ballast is None:
            return
        try:
            self.free = self._free_bytes(self.file.parent)
            if self.free > 2 * FLOOR_BYTES:
                self._ballast.keep()
        except OSError as error:
            log.warning("store: %s", error)

    def prepare_to_replace(self) -> None:
        """Keep a copy of a database in a file beside it; one that is damaged is moved there, and an empty one opened."""
        if self.file is None:
            return
        beside = self.file.with_name(f"{self.file.name}.before-restore")
        try:
            beside.unlink(missing_ok=True)
            if self.trouble is Trouble.DAMAGED:
                self._move_aside(beside)
                self.open()
            elif self._engine is not None and self.trouble is None:
                copy_database(self._engine, beside)
        except Exception as error:  # noqa: BLE001 - sorted there, and raised when it is not the store's
            self._note(error)

    def _move_aside(self, to: Path) -> None:
        assert self.file is not None  # noqa: S101 - only a database in a file comes here
        self.forget()
        for ending in ("", "-wal", "-shm"):
            part = self.file.with_name(self.file.name + ending)
            if part.exists():
                part.replace(to.with_name(to.name + ending))

    def write(self, job: Callable[[Session], T]) -> T:
        """Run a job in a transaction; when this returns, the disk has it. Raises NotStored."""
        if self.trouble is not None:
            raise NotStored(TELLS[self.trouble])
        return self._run(job)

    def read(self, job: Callable[[Session], T]) -> T:
        """Run a job that only reads; also possible while nothing can be written. Raises NotStored."""
        return self._run(job)

    def forget(self) -> None:
        """Let go of the connection, and of nothing else. The database in memory stays: it would be gone."""
        if self.url.database is not None:
            self._let_go()

    def close(self) -> None:
        """Let go of everything; may be called again."""
        self._let_go()
        if self._lock is not None:
            self._lock.release()

    def _let_go(self) -> None:
        if self._engine is not None:
            self._engine.dispose()
            self._engine = None

    def _try_out(self) -> None:
        """Write something: whether the disk keeps it shows here, and not with the first command."""
        self.trouble = None
        self._run(lambda session: documents.set_state(session, "store", "tried", {"tries": 1}))
        self._run(lambda session: documents.set_state(session, "store", "tried", None))

    def _run(self, job: Callable[[Session], T]) -> T:
        try:
            if self._engine is None:
                self._engine = self._make_engine()
            with Session(self._engine) as session, session.begin():
                return job(session)
        except Exception as error:  # sorted below
            self._note(error)
            raise NotStored(TELLS[self.trouble or Trouble.FAILED]) from error

    def _note(self, error: Exception) -> None:
        """Sort an error: one of the store's becomes its trouble, any other is raised."""
        trouble = trouble_of(error)
        if trouble is None:
            raise error
        log.error("store: %s: %s", trouble, str(error).splitlines()[0])
        self.trouble = trouble
        if trouble is Trouble.DAMAGED or self.file is None:
            self.forget()  # else it goes on reading through it, until it is opened anew
        if trouble is Trouble.FULL and self._ballast is not None:
            self._ballast.let_go()

    def _take_lock(self) -> None:
        if self._lock is not None:
            self._lock.take()

    def _make_engine(self) -> Engine:
        if self.url.get_backend_name() == "sqlite":
            return _sqlite_engine(self.url.render_as_string(hide_password=False))
        engine = create_engine(self.url, poolclass=StaticPool)
        try:
            with engine.begin() as connection:
                ours = connection.scalar(text("SELECT pg_try_advisory_lock(:number)"), {"number": ADVISORY_LOCK})
        except BaseException:
            engine.dispose()
            raise
        if not ours:
            engine.dispose()
            raise StoreInUse("Another service uses this database already; a database serves one service.")
        return engine


def _sqlite_engine(url: str) -> Engine:
    engine = create_engine(url, poolclass=StaticPool, connect_args={"check_same_thread": False})

    @event.listens_for(engine, "connect")
    def _settle(connection: sqlite3.Connection, _: Any) -> None:
        try:
            _set_up(connection)
        except BaseException:
            connection.close()
            raise

    @event.listens_for(engine, "begin")
    def _begin(connection: Any) -> None:
        connection.exec_driver_sql("BEGIN")

    return engine


def _set_up(connection: sqlite3.Connection) -> None:
    connection.isolation_level = None  # begin and commit are said by us, above
    for setting in (
        "auto_vacuum=INCREMENTAL",  # before anything is written, or it has no effect
        f"busy_timeout={BUSY_TIMEOUT_MS}",
        "journal_mode=WAL",
        "synchronous=FULL",
        "foreign_keys=ON",
        f"wal_autocheckpoint={KEPT_PER_CHECKPOINT}",
    ):
        connection.execute(f"PRAGMA {setting}").close()
