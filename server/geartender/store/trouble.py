"""What can be wrong with the store, and how a database's error is told to be one of these. Pure."""

from __future__ import annotations

import errno
import sqlite3
from enum import StrEnum

from sqlalchemy.exc import DBAPIError, IntegrityError, ProgrammingError

from geartender.errors import GeartenderError


class Trouble(StrEnum):
    """Why the store does not keep anything just now."""

    FULL = "full"
    READ_ONLY = "read-only"
    DAMAGED = "damaged"
    FAILED = "failed"
    """A write or a sync failed: what the disk holds is not certain until the database was opened anew."""
    UNREACHABLE = "unreachable"
    """The database cannot be opened or talked to."""


TELLS = {
    Trouble.FULL: "The disk is full: nothing more can be kept. Make room in the data folder's file system.",
    Trouble.READ_ONLY: "The disk can only be read: nothing can be kept. Check the card and the rights of the data folder.",
    Trouble.DAMAGED: "The database is damaged. Restore a backup, or move the file away and start afresh.",
    Trouble.FAILED: "The disk failed to keep something. It is tried again by itself; if it goes on, replace the card.",
    Trouble.UNREACHABLE: "The database cannot be opened. It is tried again by itself; check the folder, or the server's address.",
}

_SQLITE = {
    sqlite3.SQLITE_FULL: Trouble.FULL,
    sqlite3.SQLITE_READONLY: Trouble.READ_ONLY,
    sqlite3.SQLITE_CORRUPT: Trouble.DAMAGED,
    sqlite3.SQLITE_NOTADB: Trouble.DAMAGED,
    sqlite3.SQLITE_CANTOPEN: Trouble.UNREACHABLE,
    sqlite3.SQLITE_BUSY: Trouble.UNREACHABLE,
    sqlite3.SQLITE_LOCKED: Trouble.UNREACHABLE,
}

_SQLSTATE = {"53100": Trouble.FULL, "25006": Trouble.READ_ONLY, "XX001": Trouble.DAMAGED, "XX002": Trouble.DAMAGED}
"""Of PostgreSQL (appendix A of its manual): disk_full, read_only_sql_transaction, data_corrupted, index_corrupted."""

_PRIMARY = 0xFF
"""The part of an extended result code of SQLite that names its family."""


def trouble_of(error: Exception) -> Trouble | None:
    """What an error says about the store; None when it says nothing of the kind, so that it is a mistake of ours."""
    if isinstance(error, OSError):
        return {errno.ENOSPC: Trouble.FULL, errno.EDQUOT: Trouble.FULL, errno.EROFS: Trouble.READ_ONLY}.get(
            error.errno or 0, Trouble.FAILED
        )
    if isinstance(error, DBAPIError) and not isinstance(error, (IntegrityError, ProgrammingError)):
        cause = error.orig
        if isinstance(cause, sqlite3.Error):
            return _SQLITE.get(getattr(cause, "sqlite_errorcode", 0) & _PRIMARY, Trouble.FAILED)
        return _SQLSTATE.get(getattr(cause, "sqlstate", None) or "", Trouble.UNREACHABLE)
    return None


class StoreInUse(GeartenderError):
    """Another process has the store open."""


class StoreTooNew(GeartenderError):
    """The store was written by a newer version of this program."""
