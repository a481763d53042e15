"""The copying tool, a program of its own: what is on the board, and how it gets there and back. Blocking."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path

from geartender.errors import InstallError
from geartender.install.files import FOLDER, MAIN

MODULE = "mpremote"
CALL_S = 30.0
"""s for a call: sums of all files on a slow board take a few."""
COPY_S = 180.0
"""s for a call that copies: 200 kB at the 43 kB/s of the board's line, and its flash besides."""
MAKERS_ID = "2e8a"
"""USB vendor of the chip, which boards with MicroPython on it show themselves by unless their maker has an own one."""


@dataclass(frozen=True, slots=True)
class Found:
    """A serial port that may be a board."""

    path: str
    serial: str


class CopyingTool:
    """Runs the tool; `command` is how it is called. Raises InstallError with what the tool said."""

    def __init__(self, command: Sequence[str] | None = None) -> None:
        if command is None and find_spec(MODULE) is None:
            raise InstallError(
                "The copying tool is not installed. Install the extra: pip install 'geartender[firmware]'."
            )
        self._command = list(command or [sys.executable, "-m", MODULE])

    def boards(self) -> list[Found]:
        """The ports that look like a board with MicroPython."""
        lines = [line.split(" ") for line in self._run(["connect", "list"], CALL_S).splitlines() if line.strip()]
        likely = [
            words for words in lines if len(words) > 2 and (words[2].startswith(MAKERS_ID) or "MicroPython" in words)
        ]
        return [Found(words[0], words[1]) for words in likely]

    def answers(self, port: str) -> bool:
        """Whether the board's interpreter listens: no program is in the way."""
        try:
            self._at(port, ["ls", ":"])
        except InstallError:
            return False
        return True

    def names(self, port: str, folder: str = "") -> list[str]:
        """Names in a folder of the board, folders with a slash at their end."""
        listed = self._at(port, ["ls", f":{folder}"]).splitlines()[1:]
        return [line.strip().split(" ", 1)[1] for line in listed if " " in line.strip()]

    def sums(self, port: str) -> dict[str, str]:
        """SHA-256 sums, in hex, of `main.py` and of everything in the folder of the firmware, by place."""
        top = self.names(port)
        places = [MAIN] if MAIN in top else []
        if f"{FOLDER}/" in top:
            places += [f"{FOLDER}/{name}" for name in self.names(port, FOLDER) if not name.endswith("/")]
        if not places:
            return {}
        lines = self._at(port, ["sha256sum", *(f":{place}" for place in places)]).splitlines()
        sums = [line.strip() for line in lines if len(line.strip()) == 64]
        if len(sums) != len(places):
            raise InstallError("The copying tool told no sums of the board's files.")
        return dict(zip(places, sums, strict=True))

    def fetch(self, port: str, places: Sequence[str], folder: Path) -> dict[str, Path]:
        """Bring files of the board to a folder here; where each of them lies now."""
        kept = {place: folder / place for place in places}
        for path in kept.values():
            path.parent.mkdir(parents=True, exist_ok=True)
        for parent, group in _by_folder(places).items():
            self._at(port, ["cp", *(f":{place}" for place in group), f"{folder / parent}/"], COPY_S)
        return kept

    def put(self, port: str, files: dict[str, Path]) -> None:
        """Copy files to their places, in this order of folders: the firmware's own, then the top."""
        grouped = _by_folder(list(files))
        if FOLDER in grouped and f"{FOLDER}/" not in self.names(port):
            self._at(port, ["mkdir", f":{FOLDER}"])
        for parent, group in sorted(grouped.items(), key=lambda item: item[0] == ""):
            if parent:
                self._at(port, ["cp", *(str(files[place]) for place in group), f":{parent}/"], COPY_S)
            else:  # not every board knows its top by an empty name
                for place in group:
                    self._at(port, ["cp", str(files[place]), f":{place}"], COPY_S)

    def remove(self, port: str, places: Sequence[str]) -> None:
        """Remove files of the board."""
        if places:
            self._at(port, ["rm", *(f":{place}" for place in places)])

    def mark(self, port: str, name: str) -> None:
        """Make an empty file at the top."""
        self._at(port, ["touch", f":{name}"])

    def restart(self, port: str) -> None:
        """Start the board anew."""
        self._at(port, ["reset"])

    def _at(self, port: str, words: Sequence[str], seconds: float = CALL_S) -> str:
        return self._run(["connect", port, "resume", *words], seconds)

    def _run(self, words: Sequence[str], seconds: float) -> str:
        try:
            done = subprocess.run(  # noqa: S603 - the tool and its words are ours, and no shell is in between
                [*self._command, *words], capture_output=True, text=True, timeout=seconds, check=False
            )
        except subprocess.TimeoutExpired as error:
            raise InstallError(f"The board did not answer the copying tool within {seconds:.0f} s.") from error
        except OSError as error:
            raise InstallError(f"The copying tool cannot be run: {error}.") from error
        if done.returncode:
            said = (done.stderr.strip() or done.stdout.strip()).splitlines()
            raise InstallError(f"The copying tool failed: {said[-1] if said else f'code {done.returncode}'}")
        return done.stdout


def _by_folder(places: Sequence[str]) -> dict[str, list[str]]:
    groups: dict[str, list[str]] = {}
    for place in places:
        groups.setdefault(place.rpartition("/")[0], []).append(place)
    return groups
