"""Where documents are kept: a folder on disk, or memory alone. The only place of the service that writes files."""

from __future__ import annotations

import asyncio
import os
from pathlib import Path
from typing import Protocol


class Shelf(Protocol):
    """Keeps texts by name."""

    def read(self, name: str) -> str | None:
        """The text of that name, or None. Waits for the disk: for the start of the service only."""
        ...

    async def write(self, name: str, text: str) -> None:
        """Keep a text: after this it is there in full, before it the old one is. Raises OSError when the disk refuses."""
        ...


class MemoryShelf:
    """Forgets everything at the end of the process: for a demo, and for a world without a disk."""

    def __init__(self) -> None:
        self._texts: dict[str, str] = {}

    def read(self, name: str) -> str | None:
        """The text of that name, or None."""
        return self._texts.get(name)

    async def write(self, name: str, text: str) -> None:
        """Keep a text."""
        self._texts[name] = text


class FolderShelf:
    """Files under one folder. They are written in a thread: a memory card may take seconds over it."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def read(self, name: str) -> str | None:
        """The text of that file, or None when there is none. Raises OSError when it cannot be read."""
        try:
            return (self._folder / name).read_text(encoding="utf-8")
        except FileNotFoundError:
            return None

    async def write(self, name: str, text: str) -> None:
        """Write beside the old file, let the disk confirm it, then put it in its place."""
        await asyncio.to_thread(_write, self._folder / name, text)


def _write(path: Path, text: str) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    fresh = path.with_name(path.name + ".new")
    with fresh.open("w", encoding="utf-8") as file:
        file.write(text)
        file.flush()
        os.fsync(file.fileno())
    fresh.replace(path)
    folder = os.open(path.parent, os.O_RDONLY)
    try:
        os.fsync(folder)
    finally:
        os.close(folder)
