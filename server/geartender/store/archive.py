"""One archive of everything: a ZIP file of lines of JSON, the same from every database, so that one can be moved to another.

`about.json` comes first, then one file for each table and one for each build sheet; `checksums.json` comes last and holds the
SHA-256 and the number of rows of all of them, so that a part of an archive is told from a whole one.
"""

from __future__ import annotations

import base64
import hashlib
import io
import json
import zipfile
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import IO, TYPE_CHECKING, Any

from sqlalchemy import Table, select, tuple_
from sqlalchemy.orm import Session

from geartender.errors import GeartenderError
from geartender.store.tables import (
    EPOCH,
    MICROSECOND,
    CredentialRow,
    DocumentRow,
    JournalRow,
    JournalTraceRow,
    RunRow,
    RunStepRow,
    StateRow,
)

if TYPE_CHECKING:
    from typing_extensions import Buffer

FORMAT = 1
ABOUT, CHECKSUMS, SHEETS, CONFIGURATION = "about.json", "checksums.json", "sheets/", "configuration.json"

AT_ONCE = 1000
"""Rows that one job reads or writes; in between, commands get their turn."""

ROW_MAX_BYTES = 4 << 20
"""Bytes of one row; the longest real one, a trace, has a hundredth of it."""

TABLES: tuple[Table, ...] = tuple(
    row.__table__  # type: ignore[misc]
    for row in (DocumentRow, StateRow, RunRow, RunStepRow, JournalRow, JournalTraceRow)
)
"""In an order in which what is referred to comes first. The days of the journal are worked out anew."""


JOINED: Table = CredentialRow.__table__  # type: ignore[assignment]
"""Is in an archive too, but is not replaced by it: those whom it has are added to those who are here. Older archives lack it."""


class ArchiveError(GeartenderError, ValueError):
    """An archive that cannot be restored: no archive, a part of one, or not one of ours. The message says which."""


# Writing


class ArchiveWriter:
    """Writes an archive part by part. Each step is a job for the database; `take` gives the bytes that are ready."""

    def __init__(self, about: Mapping[str, Any]) -> None:
        self._sink = _Sink()
        self._zip = zipfile.ZipFile(self._sink, "w", zipfile.ZIP_DEFLATED)
        self._sums: dict[str, dict[str, Any]] = {}
        self.text(ABOUT, json.dumps({"format": FORMAT, **about}, indent=1))

    def text(self, name: str, text: str) -> None:
        """A file with that text."""
        with self._member(name) as write:
            write(text.encode(), 0)

    def steps(self) -> Iterator[Callable[[Session], bytes]]:
        """The jobs that write everything in the database, and then the end of the archive."""
        for table in (*TABLES, JOINED):
            yield from self._table(table)
        yield lambda _: self._end()

    def take(self) -> bytes:
        """The bytes that are ready."""
        return self._sink.take()

    def _table(self, table: Table) -> Iterator[Callable[[Session], bytes]]:
        last: list[Any] = []
        more = True
        with self._member(f"{table.name}.jsonl") as write:

            def part(session: Session) -> bytes:
                nonlocal last, more
                rows = _rows_after(session, table, last)
                more = len(rows) == AT_ONCE
                if rows:
                    last = [rows[-1][column.name] for column in table.primary_key]
                    lines = "".join(json.dumps(_plain(row), ensure_ascii=False) + "\n" for row in rows)
                    write(lines.encode(), len(rows))
                return self.take()

            while more:
                yield part

    def _end(self) -> bytes:
        self._zip.writestr(CHECKSUMS, json.dumps(self._sums, indent=1))
        self._zip.close()
        return self.take()

    def _member(self, name: str) -> _Member:
        return _Member(self._zip, name, self._sums)


class _Member:
    """One file of an archive, whose sum and rows are counted while it is written."""

    def __init__(self, archive: zipfile.ZipFile, name: str, sums: dict[str, dict[str, Any]]) -> None:
        self._file = archive.open(name, "w", force_zip64=True)
        self._hash = hashlib.sha256()
        self._rows = 0
        self._name, self._sums = name, sums

    def __enter__(self) -> Callable[[bytes, int], None]:
        return self._write

    def __exit__(self, *_: object) -> None:
        self._file.close()
        self._sums[self._name] = {"sha256": self._hash.hexdigest(), "rows": self._rows}

    def _write(self, data: bytes, rows: int) -> None:
        self._file.write(data)
        self._hash.update(data)
        self._rows += rows


class _Sink(io.RawIOBase):
    """Takes what the ZIP writer writes; it cannot go back, so the archive can leave while it is made."""

    def __init__(self) -> None:
        super().__init__()
        self._parts: list[bytes] = []

    def writable(self) -> bool:
        """It is."""
        return True

    def write(self, data: Buffer) -> int:
        """Keep it until it is taken."""
        self._parts.append(bytes(data))
        return len(self._parts[-1])

    def take(self) -> bytes:
        """What came since the last time."""
        taken = b"".join(self._parts)
        self._parts.clear()
        return taken


def _rows_after(session: Session, table: Table, last: list[Any]) -> list[dict[str, Any]]:
    key = list(table.primary_key)
    query = select(table).order_by(*key).limit(AT_ONCE)
    if last:
        query = query.where(tuple_(*key) > tuple_(*last)) if len(key) > 1 else query.where(key[0] > last[0])
    return [dict(row) for row in session.execute(query).mappings()]


def _plain(row: dict[str, Any]) -> dict[str, Any]:
    return {name: _plain_value(value) for name, value in row.items()}


def _plain_value(value: Any) -> Any:
    if isinstance(value, datetime):
        return (value - EPOCH) // MICROSECOND
    return base64.b64encode(value).decode() if isinstance(value, bytes) else value


# Reading


@dataclass
class Archive:
    """An archive that was read through and found whole."""

    file: IO[bytes]
    about: dict[str, Any]
    sheets: dict[str, str] = field(default_factory=dict)
    """Build sheets (TOML) by servo."""
    rows: dict[str, int] = field(default_factory=dict)
    """Rows by table."""

    def table(self, table: Table) -> Iterator[dict[str, Any]]:
        """The rows of a table."""
        with zipfile.ZipFile(self.file) as archive:
            yield from _table_rows(archive, table)


def read_archive(file: IO[bytes]) -> Archive:
    """Read an archive through to its end: every sum, every row. Changes nothing. Raises ArchiveError."""
    try:
        with zipfile.ZipFile(file) as archive:
            about, sums = _json(archive, ABOUT), _json(archive, CHECKSUMS)
            if about.get("format") != FORMAT:
                raise ArchiveError(f"The archive has format {about.get('format')!r}; this version reads {FORMAT}.")
            _check_sums(archive, sums)
            found = Archive(file, about)
            for name in sums:
                if name.startswith(SHEETS):
                    found.sheets[name.removeprefix(SHEETS).removesuffix(".toml")] = archive.read(name).decode()
            for table in (*TABLES, JOINED):
                found.rows[table.name] = sum(1 for _ in _table_rows(archive, table))
    except (zipfile.BadZipFile, zipfile.LargeZipFile, EOFError, UnicodeDecodeError, NotImplementedError) as error:
        raise ArchiveError(f"That is no archive of a backup, or only a part of one: {error}.") from error
    return found


def _json(archive: zipfile.ZipFile, name: str) -> dict[str, Any]:
    try:
        found = json.loads(archive.read(name))
    except (KeyError, ValueError) as error:
        raise ArchiveError(f"That is no archive of a backup, or only a part of one: it has no {name}.") from error
    if not isinstance(found, dict):
        raise ArchiveError(f"In the archive, {name} is not what it should be.")
    return found


def _check_sums(archive: zipfile.ZipFile, sums: dict[str, Any]) -> None:
    wanted = {ABOUT, *(f"{table.name}.jsonl" for table in TABLES)}
    missing = sorted((wanted | sums.keys()) - set(archive.namelist()) | (wanted - sums.keys()))
    if missing:
        raise ArchiveError(f"The archive lacks {', '.join(missing)}.")
    for name, said in sums.items():
        found = hashlib.sha256()
        with archive.open(name) as member:
            while part := member.read(1 << 20):
                found.update(part)
        if not isinstance(said, dict) or found.hexdigest() != said.get("sha256"):
            raise ArchiveError(f"The archive is damaged: {name} is not as it was written.")


def _table_rows(archive: zipfile.ZipFile, table: Table) -> Iterator[dict[str, Any]]:
    if table is JOINED and f"{table.name}.jsonl" not in archive.namelist():
        return
    with archive.open(f"{table.name}.jsonl") as member:
        number = 0
        while line := member.readline(ROW_MAX_BYTES):
            number += 1
            try:
                yield _row(table, json.loads(line))
            except (ValueError, TypeError, KeyError, AttributeError) as error:
                raise ArchiveError(f"In the archive, row {number} of {table.name} makes no sense: {error}.") from error


def _row(table: Table, plain: dict[str, Any]) -> dict[str, Any]:
    if plain.keys() != {column.name for column in table.columns}:
        raise ValueError("it has other columns")
    row = {}
    for column in table.columns:
        value = plain[column.name]
        if value is None and not column.nullable:
            raise ValueError(f"{column.name} is missing")
        row[column.name] = None if value is None else _value(column.type.python_type, value)
    return row


def _value(kind: type, value: Any) -> Any:
    if kind is bytes:
        return base64.b64decode(value, validate=True)
    if kind is datetime:
        return EPOCH + int(value) * MICROSECOND
    if kind is dict:  # JSON: an object or a list
        if not isinstance(value, dict | list):
            raise ValueError("an object is wanted")
        return value
    if not isinstance(value, kind) or (kind is int and isinstance(value, bool)):
        raise ValueError(f"{value!r} is not of the right kind")
    return value
