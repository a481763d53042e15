"""One opener at a time: a lock on a file beside the database, which the kernel lets go when its holder ends, however."""

from __future__ import annotations

import fcntl
import os
from pathlib import Path

from geartender.store.trouble import StoreInUse


class FileLock:
    """A lock that one process of this machine can hold."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._held: int | None = None

    def take(self) -> None:
        """Take it, if it is not ours already. Raises StoreInUse, and OSError when the folder cannot be written."""
        if self._held is not None:
            return
        self._path.parent.mkdir(parents=True, exist_ok=True)
        handle = os.open(self._path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            os.close(handle)
            raise StoreInUse(
                f"Another service uses {self._path.parent} already. End it first, or give this one a folder of its own."
            ) from None
        except BaseException:
            os.close(handle)
            raise
        self._held = handle

    def release(self) -> None:
        """Let it go; nothing happens when it is not held."""
        if self._held is not None:
            os.close(self._held)
            self._held = None
