"""A disk that fails when it is told to, under the real SQLite: a file system layer of its own, put in front of the usual one.

It counts every open, write, truncation and sync, fails those it is told to fail, and knows which writes no sync has confirmed yet, so
that a power cut can lose them (any of them, also half of one), as a real one does.
"""

from __future__ import annotations

import _sqlite3
import contextlib
import ctypes
import random
from collections.abc import Callable, Iterator
from ctypes import CFUNCTYPE, POINTER, byref, c_char_p, c_int, c_int64, c_void_p, cast
from pathlib import Path

CANTOPEN, FULL, READONLY = 14, 13, 8
WRITE_FAILED, SYNC_FAILED = 10 | 3 << 8, 10 | 4 << 8
"""Result codes of SQLite."""

KEPT: list[object] = []
"""What SQLite points to: a connection that was left open may use it at any time, to the end of the process."""

SECTOR = 512
"""Bytes that a disk writes whole or not at all."""

OPEN = CFUNCTYPE(c_int, c_void_p, c_void_p, c_void_p, c_int, c_void_p)
DELETE = CFUNCTYPE(c_int, c_void_p, c_void_p, c_int)
WRITE = CFUNCTYPE(c_int, c_void_p, c_void_p, c_int, c_int64)
TRUNCATE = CFUNCTYPE(c_int, c_void_p, c_int64)
SYNC = CFUNCTYPE(c_int, c_void_p, c_int)
CLOSE = CFUNCTYPE(c_int, c_void_p)


class Layer(ctypes.Structure):
    """`sqlite3_vfs`; what is not replaced stays a plain pointer."""

    _fields_ = [
        ("version", c_int),
        ("file_size", c_int),
        ("longest_path", c_int),
        ("next", c_void_p),
        ("name", c_char_p),
        ("data", c_void_p),
        ("open", OPEN),
        ("delete", DELETE),
        *((f"other{number}", c_void_p) for number in range(14)),
    ]


class Methods(ctypes.Structure):
    """`sqlite3_io_methods`."""

    _fields_ = [
        ("version", c_int),
        ("close", CLOSE),
        ("read", c_void_p),
        ("write", WRITE),
        ("truncate", TRUNCATE),
        ("sync", SYNC),
        *((f"other{number}", c_void_p) for number in range(13)),
    ]


class OpenFile(ctypes.Structure):
    """`sqlite3_file`."""

    _fields_ = [("methods", POINTER(Methods))]


class HostileDisk:
    """Set `fails` to decide, by the number of an operation and its kind, with which code it fails; None lets it pass."""

    def __init__(self) -> None:
        self.operations = 0
        self.written = 0
        """Bytes written so far."""
        self.fails: Callable[[int, str], int | None] = lambda number, kind: None
        self.confirmed: dict[str, bytearray] = {}
        """What the disk surely holds, by path."""
        self.waiting: dict[str, list[tuple[int, bytes] | int]] = {}
        """Writes (place and bytes) and truncations (size) since the last sync."""
        self._paths: dict[int, str] = {}
        self._cut: dict[str, bytes] | None = None

    def cut_at(self, number: int, dice: random.Random) -> None:
        """Let the power go at that operation: what is on the disk then is drawn, and nothing after it succeeds."""

        def fails(now: int, kind: str) -> int | None:
            if now < number:
                return None
            if self._cut is None:
                self._cut = {path: bytes(self._after_cut(path, dice)) for path in self.confirmed}
            return {"open": CANTOPEN, "sync": SYNC_FAILED}.get(kind, WRITE_FAILED)

        self.fails = fails

    def leave(self, folder: Path, of: Path) -> None:
        """Put what a power cut left of one folder into another."""
        assert self._cut is not None, "the power never went"
        for path, content in self._cut.items():
            (folder / Path(path).relative_to(of)).write_bytes(content)

    @property
    def went_dark(self) -> bool:
        return self._cut is not None

    def code(self, kind: str) -> int | None:
        number, self.operations = self.operations, self.operations + 1
        return self.fails(number, kind)

    def opened(self, file: int, path: str) -> None:
        self._paths[file] = path
        if path not in self.confirmed:
            self.confirmed[path] = bytearray(Path(path).read_bytes() if Path(path).exists() else b"")
            self.waiting[path] = []

    def closed(self, file: int) -> None:
        self._paths.pop(file, None)

    def deleted(self, path: str) -> None:
        self.confirmed.pop(path, None)
        self.waiting.pop(path, None)

    def note(self, file: int, change: tuple[int, bytes] | int) -> None:
        if file in self._paths:
            self.waiting[self._paths[file]].append(change)

    def synced(self, file: int) -> None:
        path = self._paths.get(file)
        if path is not None:
            for change in self.waiting[path]:
                apply(self.confirmed[path], change)
            self.waiting[path].clear()

    def _after_cut(self, path: str, dice: random.Random) -> bytearray:
        """What is confirmed, and whatever of the rest had reached the disk already, in any order."""
        content = bytearray(self.confirmed[path])
        for change in self.waiting[path]:
            lot = dice.random()
            if lot < 0.4:
                apply(content, change)
            elif lot < 0.6 and isinstance(change, tuple):
                whole = len(change[1]) // SECTOR
                apply(content, (change[0], change[1][: SECTOR * dice.randrange(whole + 1)]))
        return content


def apply(content: bytearray, change: tuple[int, bytes] | int) -> None:
    if isinstance(change, int):
        del content[change:]
        return
    place, data = change
    if len(content) < place:
        content.extend(bytes(place - len(content)))
    content[place : place + len(data)] = data


@contextlib.contextmanager
def hostile_disk() -> Iterator[HostileDisk]:
    """Put it under every database that is opened meanwhile."""
    library = ctypes.CDLL(_sqlite3.__file__)
    library.sqlite3_vfs_find.restype = c_void_p
    usual_at = library.sqlite3_vfs_find(None)
    usual = cast(usual_at, POINTER(Layer)).contents
    disk = HostileDisk()
    layer = _layer(disk, usual, usual_at)
    assert library.sqlite3_vfs_register(byref(layer), 1) == 0
    try:
        yield disk
    finally:
        library.sqlite3_vfs_unregister(byref(layer))
        library.sqlite3_vfs_register(c_void_p(usual_at), 1)


def _layer(disk: HostileDisk, usual: Layer, usual_at: int) -> Layer:
    layer = Layer.from_buffer_copy(usual)
    layer.name = b"hostile"
    KEPT.append(layer)

    def open_(_: int, name: int | None, file: int, flags: int, out: int) -> int:
        failed = disk.code("open")
        if failed is not None:
            cast(file, POINTER(c_void_p))[0] = None  # no methods: SQLite must not close what was not opened
            return failed
        code: int = usual.open(usual_at, name, file, flags, out)
        if code == 0 and name is not None:
            opened = cast(file, POINTER(OpenFile)).contents
            methods = _methods(disk, opened.methods.contents)
            KEPT.append(methods)
            opened.methods = ctypes.pointer(methods)
            disk.opened(file, ctypes.string_at(name).decode())
        return code

    def delete(_: int, name: int, sync: int) -> int:
        code: int = usual.delete(usual_at, name, sync)
        disk.deleted(ctypes.string_at(name).decode())
        return code

    layer.open, layer.delete = OPEN(open_), DELETE(delete)
    return layer


def _methods(disk: HostileDisk, usual: Methods) -> Methods:
    """The methods of one open file, with ours in front of the usual ones."""
    write_, truncate_, sync_, close_ = usual.write, usual.truncate, usual.sync, usual.close

    def write(file: int, data: int, size: int, place: int) -> int:
        failed = disk.code("write")
        if failed is not None:
            return failed
        disk.written += size
        disk.note(file, (place, ctypes.string_at(data, size)))
        return int(write_(file, data, size, place))

    def truncate(file: int, size: int) -> int:
        failed = disk.code("write")
        if failed is not None:
            return failed
        disk.note(file, size)
        return int(truncate_(file, size))

    def sync(file: int, flags: int) -> int:
        failed = disk.code("sync")
        if failed is not None:
            return failed
        disk.synced(file)
        return int(sync_(file, flags))

    def close(file: int) -> int:
        disk.closed(file)
        return int(close_(file))

    methods = Methods.from_buffer_copy(usual)
    methods.close, methods.write, methods.truncate, methods.sync = (
        CLOSE(close),
        WRITE(write),
        TRUNCATE(truncate),
        SYNC(sync),
    )
    return methods
