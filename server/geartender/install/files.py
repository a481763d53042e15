"""Which files the board must have, and what must change for that. Pure but for reading the package's own files."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from geartender import firmware

FOLDER = "firmware"
MAIN = "main.py"
"""The one file that lies at the top of the board's files."""


def shipped(folder: Path | None = None) -> dict[str, Path]:
    """The files of this package's firmware, by their place on the board."""
    source = folder or Path(firmware.__file__).parent
    return {_place(path.name): path for path in sorted(source.glob("*.py"))}


def _place(name: str) -> str:
    return MAIN if name == MAIN else f"{FOLDER}/{name}"


@dataclass(frozen=True)
class Changes:
    """What to do to a board."""

    copied: tuple[str, ...]
    """Places that get a file of ours; `main.py` last, since it decides what starts."""
    removed: tuple[str, ...]
    """Places of files that are no longer ours."""
    added: tuple[str, ...]
    """Those of `copied` that were not there before."""

    @property
    def replaced(self) -> tuple[str, ...]:
        """Places whose old file would be needed again."""
        return tuple(place for place in (*self.copied, *self.removed) if place not in self.added)

    def __bool__(self) -> bool:
        return bool(self.copied or self.removed)


def changes(have: Mapping[str, str], want: Mapping[str, Path]) -> Changes:
    """What differs; `have` are SHA-256 sums in hex by place, of `main.py` and of everything in the folder of the firmware."""
    copied = [place for place, path in want.items() if have.get(place) != _sum(path)]
    copied.sort(key=lambda place: (place == MAIN, place))
    removed = sorted(place for place in have if place not in want)
    return Changes(tuple(copied), tuple(removed), tuple(place for place in copied if place not in have))


def _sum(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()
