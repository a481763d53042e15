"""Room on the disk: a floor below which nothing starts by itself, and a ballast that is let go when the disk is full.

On a full disk SQLite can neither insert nor delete nor tidy up; the ballast gives it the room to write how things ended.
"""

from __future__ import annotations

import logging
import os
from pathlib import Path

log = logging.getLogger(__name__)

MIB = 1 << 20

BALLAST_BYTES = 8 * MIB
"""Bytes; room for thousands of entries and for the log of the database beside them."""

FLOOR_BYTES = 48 * MIB
"""Bytes free below which no run starts: a day of a busy sequence, and a copy of a small database."""

NEARLY_BYTES = 4 * FLOOR_BYTES
"""Bytes free below which a notice says so: weeks before the floor."""


class Ballast:
    """A file beside the database that only takes up room."""

    def __init__(self, path: Path) -> None:
        self._path = path

    def keep(self) -> None:
        """Have it, whole. Raises OSError when there is no room."""
        try:
            if self._path.stat().st_size == BALLAST_BYTES:
                return
        except FileNotFoundError:
            pass
        handle = os.open(self._path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
        try:
            os.posix_fallocate(handle, 0, BALLAST_BYTES)
        except OSError:
            self._path.unlink(missing_ok=True)
            raise
        finally:
            os.close(handle)

    def let_go(self) -> None:
        """Give its room to the database."""
        if self._path.exists():
            log.warning("store: letting the ballast go to make room")
            self._path.unlink(missing_ok=True)
