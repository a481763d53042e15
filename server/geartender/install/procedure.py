"""The order of things: rest, compare, keep the old, copy, start on trial, greet, or go back.

At no moment is the board without a way back: until the last step a mark keeps it from starting, so that this can be run again;
after it the new files are on trial, and put themselves to rest when no host greets them.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from geartender.errors import InstallError, NoAnswer, TwoBoards
from geartender.install.files import Changes, changes
from geartender.install.tool import Found
from geartender.link.lines import Hello

MAINTAIN, TRIAL, TRIED = "maintain", "trial", "tried"
"""Marks at the top of the board's files, as `firmware/main.py` reads them."""

REST_S = 20.0
"""s until a board that was put to rest must show itself again: a restart takes one or two, USB as long again."""
NEW_S = 30.0
"""s until new files must have answered."""
BACK_S = 60.0
"""s until new files that failed must be at rest: their trial of 20 s, and a restart."""
LOOK_S = 1.0
"""s between two looks."""


class Tool(Protocol):
    """What the procedure needs of the copying tool; see `tool.CopyingTool`."""

    def boards(self) -> list[Found]: ...
    def answers(self, port: str) -> bool: ...
    def names(self, port: str, folder: str = "") -> list[str]: ...
    def sums(self, port: str) -> dict[str, str]: ...
    def fetch(self, port: str, places: tuple[str, ...], folder: Path) -> dict[str, Path]: ...
    def put(self, port: str, files: dict[str, Path]) -> None: ...
    def remove(self, port: str, places: tuple[str, ...]) -> None: ...
    def mark(self, port: str, name: str) -> None: ...
    def restart(self, port: str) -> None: ...


class Talk(Protocol):
    """What the procedure needs of the link; see `conversation.Conversation`."""

    def hello(self, port: str) -> Hello | None: ...
    def put_to_rest(self, port: str) -> Hello | None: ...


class Patience(Protocol):
    """Waiting: gives False once the time is up."""

    def __call__(self, condition: Callable[[], bool], seconds: float) -> bool: ...


@dataclass(frozen=True, slots=True)
class Report:
    """What was done."""

    port: str
    before: str | None
    """Version that answered before; None when none did."""
    version: str
    copied: tuple[str, ...]
    removed: tuple[str, ...]


class Installer:
    """Installs `want`, files by their place, on the board at `port`, or on the only board there is."""

    def __init__(
        self,
        tool: Tool,
        talk: Talk,
        patience: Patience,
        say: Callable[[str], None],
        want: Mapping[str, Path],
        version: str,
        port: str | None = None,
    ) -> None:
        self._tool, self._talk, self._patience, self._say = tool, talk, patience, say
        self._want, self._version = dict(want), version
        self._board = None if port is not None else self._only_board()
        self._path = port or (self._board.path if self._board else "")

    def run(self) -> Report:
        """Do it. Raises InstallError, NoAnswer when the new files did not answer; says what state the board is in."""
        before = self._rest()
        with tempfile.TemporaryDirectory(prefix="geartender-") as name:
            try:
                have = self._tool.sums(self._port)
                todo = changes(have, self._want)
                kept = self._tool.fetch(self._port, todo.replaced, Path(name)) if todo.replaced else {}
            except InstallError as error:
                raise InstallError(
                    f"{error} Nothing on the board was changed, but it is at rest and starts nothing. Run this command again."
                ) from error
            self._copy(todo, kept, had_any=bool(have))
            self._start(TRIAL)
            hello = self._greeted(NEW_S)
            if hello is None or hello.version != self._version:
                self._go_back(todo, kept, hello, had_any=bool(have))
        return Report(self._port, before.version if before else None, self._version, todo.copied, todo.removed)

    @property
    def _port(self) -> str:
        """Where the board is now: after a restart it may show itself under another name."""
        if self._board is not None:
            self._path = next((one.path for one in self._tool.boards() if one.serial == self._board.serial), self._path)
        return self._path

    def _only_board(self) -> Found:
        boards = self._tool.boards()
        if not boards:
            raise InstallError("No board is found. Put its cable in; or name its port with --port.")
        if len(boards) > 1:
            raise TwoBoards([board.path for board in boards])
        return boards[0]

    def _rest(self) -> Hello | None:
        """Put whatever runs on the board to rest; give who answered."""
        self._say(f"Looking at {self._path} …")
        before = self._talk.put_to_rest(self._path)
        if not self._patience(lambda: self._tool.answers(self._port), REST_S):
            raise InstallError(
                f"The board at {self._path} answers neither the link nor the copying tool. Take its cable out and put it in "
                "again; a board without MicroPython needs that first."
            )
        if MAINTAIN not in self._tool.names(self._port):
            self._tool.mark(self._port, MAINTAIN)
        return before

    def _copy(self, todo: Changes, kept: dict[str, Path], *, had_any: bool) -> None:
        self._say(f"Copying {len(todo.copied)} of {len(self._want)} files, removing {len(todo.removed)} …")
        try:
            if todo.copied:
                self._tool.put(self._port, {place: self._want[place] for place in todo.copied})
            self._tool.remove(self._port, todo.removed)
        except InstallError as error:
            self._say(str(error))
            self._restore(todo, kept, start=had_any)
            state = "The old files are back on the board." if had_any else "The board is as empty as before."
            raise InstallError(f"{error} {state}") from error

    def _restore(self, todo: Changes, kept: dict[str, Path], *, start: bool) -> None:
        """The old files in their places, none but them. Raises InstallError when that fails too."""
        self._say("Putting the old files back …")
        try:
            there = self._tool.sums(self._port)
            if kept:
                self._tool.put(self._port, kept)
            self._tool.remove(self._port, tuple(place for place in todo.added if place in there))
            if start:
                self._start(None)
        except InstallError as error:
            raise InstallError(
                f"{error} The board is at rest with a part of the files and starts nothing. Run this command again."
            ) from error

    def _start(self, mark: str | None) -> None:
        """Let the program start, on trial or not."""
        names = self._tool.names(self._port)
        if mark is not None:
            self._tool.mark(self._port, mark)
        self._tool.remove(self._port, tuple(name for name in (MAINTAIN, TRIED) if name in names))
        self._tool.restart(self._port)

    def _greeted(self, seconds: float) -> Hello | None:
        """Who answers within that time."""
        heard: list[Hello] = []

        def look() -> bool:
            hello = self._talk.hello(self._port)
            if hello is not None:
                heard.append(hello)
            return hello is not None

        self._say("Waiting for the firmware to answer …")
        self._patience(look, seconds)
        return heard[-1] if heard else None

    def _go_back(self, todo: Changes, kept: dict[str, Path], hello: Hello | None, *, had_any: bool) -> None:
        what = "does not answer" if hello is None else f"says it is {hello.version}, not {self._version}"
        self._say(f"The new firmware {what}.")
        if hello is not None:
            self._talk.put_to_rest(self._port)
        if not self._patience(lambda: self._tool.answers(self._port), BACK_S):
            raise NoAnswer(
                f"The new firmware {what}, and the board cannot be reached. Take its cable out and put it in again, twice; "
                "then run this command again."
            )
        self._tool.mark(self._port, MAINTAIN)
        self._restore(todo, kept, start=had_any)
        if not had_any:
            raise NoAnswer(f"The new firmware {what}. There was none before, so the board starts nothing now.")
        old = self._greeted(NEW_S)
        state = f"are back, and answer as {old.version}" if old else "are back, but do not answer either"
        raise NoAnswer(f"The new firmware {what}. The old files {state}.")
