"""The journal as the rest of the service uses it: intent first, then motion, then the result.

An intent is on disk before what it announces is done. For what runs by itself that is a condition: without it, nothing moves. A
person standing there is not held up by a disk: the wait is short, and while nothing can be kept the entry waits in memory and is
written, marked as late, once the disk keeps things again.
"""

from __future__ import annotations

import asyncio
import logging
from collections import deque
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Protocol, TypeVar

from sqlalchemy import event
from sqlalchemy.orm import Session

from geartender.errors import NotStored
from geartender.store import journal_rows
from geartender.store.journal_rows import Entry, Note, Outcome, Page, Search

log = logging.getLogger(__name__)
T = TypeVar("T")

PERSON_WAIT_S = 0.5
"""s that a person's motion waits for its intent to be on disk; then it goes on. A person takes a second for a fault."""

WAITING_MAX = 5000
"""Entries that wait in memory for a disk that keeps nothing: days of driving by hand, and a few megabytes."""

BY_ITSELF = frozenset({"timetable", "run"})
"""Where a command can come from with nobody there: it is not done unless it can be written down before."""


class Keeper(Protocol):
    """Where jobs for the database are handed in."""

    def write(self, job: Callable[[Session], T]) -> asyncio.Future[T]:
        """Done in the order in which they are handed in; fails with NotStored."""
        ...

    def read(self, job: Callable[[Session], T]) -> asyncio.Future[T]:
        """The same, for what only reads."""
        ...


@dataclass(eq=False, slots=True)
class Intent:
    """An entry on its way to the disk, or there."""

    note: Note
    outcome: Outcome | None = None
    id: int | None = None
    """The entry's id, once the disk has it."""
    late: bool = False


class Journal:
    """Writes and reads the journal. All of it is for the event loop's thread."""

    def __init__(self, keeper: Keeper, wall: Callable[[], datetime], zone: str) -> None:
        self._keeper = keeper
        self._wall = wall
        self._zone = zone
        self._waiting: deque[Intent] = deque()
        self.lost = 0
        """Entries that found no more room in memory."""

    # Writing

    async def intend(
        self,
        kind: str,
        text: str,
        *,
        who: str,
        via: str = "person",
        servo: str | None = None,
        what: Mapping[str, Any] | None = None,
        motion: str | None = None,
        run: str | None = None,
        must: bool = False,
    ) -> Intent:
        """Write down what is about to be done, and wait until the disk has it; `settle` it when it is over.

        With `must`, as for a change of settings, or when `via` says that nobody may be there, raises NotStored when it cannot be
        kept: then it must not be done. A motion that a person asks for waits half a second at most.
        """
        note = Note(self._wall(), self._zone, kind, servo, who, via, text, dict(what or {}), motion, run)
        intent = Intent(note)
        written = self._bring_up_to_date(intent)
        if not must and via not in BY_ITSELF:
            await asyncio.wait([written], timeout=PERSON_WAIT_S)
            return intent
        try:
            await asyncio.shield(written)
        except NotStored as refused:
            self.settle(intent, "refused", reason=refused.detail)
            raise
        return intent

    def settle(
        self,
        intent: Intent,
        result: str,
        *,
        reason: str | None = None,
        cause: str | None = None,
        figures: Mapping[str, Any] | None = None,
        trace: Sequence[dict[str, Any]] = (),
    ) -> asyncio.Future[None]:
        """Write down what became of it: `done replaced stopped faulted lost refused missed skipped`.

        Waits for nothing. The future is for whoever must know that the disk has it, such as before an answer; it fails with
        NotStored, and nobody needs to look.
        """
        intent.outcome = Outcome(result, self._wall(), reason, cause, dict(figures or {}), tuple(trace))
        return self._bring_up_to_date(intent)

    def tell(
        self,
        kind: str,
        text: str,
        *,
        who: str = "the service",
        via: str = "service",
        servo: str | None = None,
        what: Mapping[str, Any] | None = None,
        run: str | None = None,
        result: str = "done",
        reason: str | None = None,
        cause: str | None = None,
        trace: Sequence[dict[str, Any]] = (),
    ) -> asyncio.Future[None]:
        """Write down something that has happened, such as a stop, a fault or a missed slot. Waits for nothing, like `settle`."""
        note = Note(self._wall(), self._zone, kind, servo, who, via, text, dict(what or {}), None, run)
        return self.settle(Intent(note), result, reason=reason, cause=cause, trace=trace)

    def _bring_up_to_date(self, intent: Intent) -> asyncio.Future[None]:
        """Let the disk have the intent as it is now. When it cannot, the intent waits in memory."""
        written = self._keeper.write(lambda session: _write(session, intent))
        written.add_done_callback(lambda future: self._written(intent, future))
        return written

    def _written(self, intent: Intent, future: asyncio.Future[None]) -> None:
        if future.cancelled() or future.exception() is None:
            return
        intent.late = intent.id is None
        if intent not in self._waiting:
            self._waiting.append(intent)
        if len(self._waiting) > WAITING_MAX:
            self._waiting.popleft()
            self.lost += 1

    async def catch_up(self) -> None:
        """Write what waited; for the store, once the disk keeps things again. Raises NotStored when it does not."""
        waiting = list(self._waiting)

        def job(session: Session) -> None:
            for intent in waiting:
                _write(session, intent)

        if waiting:
            await self._keeper.write(job)
        for intent in waiting:
            if intent in self._waiting:
                self._waiting.remove(intent)
        if self.lost:
            self.tell("store", f"{self.lost} entries were lost while nothing could be kept", result="lost")
            self.lost = 0

    @property
    def waiting(self) -> int:
        """Entries that wait in memory."""
        return len(self._waiting)

    # Reading

    async def page(self, search: Search, before: int | None = None, limit: int = 50) -> Page:
        """Newest first, from below an id on."""
        return await self._keeper.read(lambda session: journal_rows.page(session, search, before, limit))

    async def newer(self, search: Search, after: int, limit: int = 50) -> Page:
        """Oldest first, from above an id on."""
        return await self._keeper.read(lambda session: journal_rows.newer(session, search, after, limit))

    async def entry(self, entry: int) -> Entry:
        """One entry. Raises Unknown."""
        return await self._keeper.read(lambda session: journal_rows.get(session, entry))

    async def trace(self, entry: int) -> list[dict[str, Any]]:
        """The trace kept with an entry. Raises Unknown when it has none."""
        return await self._keeper.read(lambda session: journal_rows.trace(session, entry))


def _write(session: Session, intent: Intent) -> None:
    """Write an intent as it is now: anew, or its outcome into the entry that is there."""
    outcome, before = intent.outcome, intent.id
    if before is not None:
        if outcome is not None:
            journal_rows.settle(session, before, outcome)
        return
    write = journal_rows.insert_late if intent.late else journal_rows.insert
    found = write(session, intent.note, outcome)

    def committed(_: Session) -> None:
        intent.id = found

    event.listen(session, "after_commit", committed, once=True)
