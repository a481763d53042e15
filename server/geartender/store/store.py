"""The store as the rest of the service uses it: one for each service, made by `create_app`, opened and closed in its lifespan.

Every method that writes returns once the disk has it, or raises NotStored, and then nothing was changed. Reading also works
while nothing can be written.
"""

from __future__ import annotations

import asyncio
import functools
import logging
from collections.abc import Callable
from typing import Any, TypeVar

from sqlalchemy.orm import Session

from geartender.errors import Busy, NotStored
from geartender.store import credentials, documents, journal_rows, runs
from geartender.store.archive import Archive
from geartender.store.credentials import Credential
from geartender.store.database import Database
from geartender.store.documents import Document
from geartender.store.journal import Journal
from geartender.store.keep import Keeping, thin_out
from geartender.store.notices import Notices
from geartender.store.restoring import end_what_was_open, replace_all
from geartender.store.runs import Run, RunStep
from geartender.store.space import FLOOR_BYTES, MIB, NEARLY_BYTES
from geartender.store.trouble import TELLS, StoreInUse, Trouble
from geartender.world import World

log = logging.getLogger(__name__)
T = TypeVar("T")

REOPEN_FIRST_S = 5.0
"""s until a database in trouble is opened anew; doubled each time, up to `REOPEN_MAX_S`."""

REOPEN_MAX_S = 300.0
"""s; whoever has just changed the card waits five minutes at most."""


LOOK_EVERY_S = 60.0
"""s between two looks at the room on the disk."""


KEEPING = Keeping(days=800, max_bytes=1500 * MIB)
"""Two growing seasons and some, and a size that any memory card has."""

THIN_OUT_EVERY_S = 6 * 3600.0
"""s between two looks at what is too old."""


class Store:
    """Documents, states, runs and the journal, in one database."""

    def __init__(self, url: str, world: World, zone: str = "UTC", keeping: Keeping = KEEPING) -> None:
        self._keeping = keeping
        self._database = Database(url, world.free_bytes)
        self._worker = world.worker("store")
        self._wall = world.wall
        self._open = False
        self.waiting = 0
        """Jobs that were handed in and have not come to their end."""
        self._monotonic = world.monotonic
        self.journal = Journal(self, world.wall, zone)
        self.notices = Notices(world.wall, self._keep_notice)

    # Life

    async def open(self) -> None:
        """Open it, unless it is open; what is wrong with the disk does not stop the service.

        Raises StoreInUse and StoreTooNew, which do stop it.
        """
        if self._open:
            return
        await self._worker.submit(self._database.open)
        self._open = True
        if self.trouble is None:
            await self._begin()
        await self._look()

    async def run(self) -> None:
        """Look how the disk is, and open the database anew while it is in trouble. Ends by cancellation only."""
        pause, look_at = REOPEN_FIRST_S, self._monotonic() + LOOK_EVERY_S
        thin_out_at = look_at
        while True:
            await asyncio.sleep(pause if self.trouble else REOPEN_FIRST_S)
            if self.trouble is None:
                pause = REOPEN_FIRST_S
            else:
                await self._open_again()
                pause = min(2 * pause, REOPEN_MAX_S)
            self._set_notices()
            if self._monotonic() >= look_at:
                look_at = self._monotonic() + LOOK_EVERY_S
                await self._look()
            if self._monotonic() >= thin_out_at:
                thin_out_at = self._monotonic() + THIN_OUT_EVERY_S
                await self.thin_out()

    async def thin_out(self) -> None:
        """Let go what is too old or too much, part by part."""
        try:
            more, now = True, self._wall()
            while more:
                more = await self.write(lambda session: thin_out(session, self._keeping, now))
        except NotStored as refused:
            log.warning("store: %s", refused)

    async def close(self) -> None:
        """Let what was handed in come to its end, then close. May be called again."""
        if self._open:
            self._open = False
            self._worker.submit(self._database.close)
            await self._worker.close()

    async def _open_again(self) -> None:
        try:
            await self._worker.submit(self._database.open)
            if self.trouble is None:
                await self.journal.catch_up()
                self.journal.tell("store", "the disk keeps things again")
        except (NotStored, StoreInUse) as still:
            log.warning("store: not yet: %s", still)

    async def _begin(self) -> None:
        """Nothing goes on by itself after a start: what had no end yet is unknown."""
        now = self._wall()
        try:
            await self.write(lambda session: (journal_rows.mark_unknown(session, now), runs.mark_unknown(session)))
            self.notices.restore(await self.states("notice"))
        except NotStored as refused:
            log.warning("store: %s", refused)

    async def _look(self) -> None:
        await self._worker.submit(self._database.look_for_room)
        self._set_notices()

    def _set_notices(self) -> None:
        trouble, free = self.trouble, self._database.free
        if trouble is None:
            self.notices.clear("store", "database")
        else:
            driven = (
                "The servo can be driven and stopped by hand; what is done is written down later. No sequence starts."
            )
            self.notices.set("store", "database", TELLS[trouble], driven)
        if free is not None and free < NEARLY_BYTES:
            text = f"The disk is nearly full: {free // MIB} MiB are free. Below {FLOOR_BYTES // MIB} MiB no sequence starts."
            self.notices.set("disk", "data", text, "Make room on the disk that holds the data folder.")
        else:
            self.notices.clear("disk", "data")

    def _keep_notice(self, notice_id: str, value: dict[str, Any] | None) -> None:
        kept = self.write(lambda session: documents.set_state(session, "notice", notice_id, value))
        kept.add_done_callback(lambda future: future.cancelled() or future.exception())

    async def restore(self, archive: Archive) -> None:
        """Put an archive in the place of everything, all of it or nothing. A damaged database is put beside first.

        Raises NotStored, and then nothing was changed.
        """
        now = self._wall()

        def job(session: Session) -> None:
            replace_all(session, archive)
            end_what_was_open(session, now)

        await self._hand_in(self._database.prepare_to_replace)
        await self.write(job)

    # How it is

    @property
    def trouble(self) -> Trouble | None:
        """Why nothing can be kept just now; None when all is well."""
        return self._database.trouble

    @property
    def free(self) -> int | None:
        """Bytes free where the database lies, as last looked; None where that is not known."""
        return self._database.free

    def require_keeping(self) -> None:
        """For what runs by itself: raises NotStored unless the store keeps what it is given and has room to.

        Raises Busy after a backup was restored, until a person has put the notice about it aside.
        """
        if self.trouble is not None:
            raise NotStored(TELLS[self.trouble])
        free = self._database.free
        restored = self.notices.get("restored:service")
        if restored is not None:
            raise Busy(f"{restored.text} Nothing starts by itself until that notice was put aside.")
        if free is not None and free < FLOOR_BYTES:
            raise NotStored(f"Only {free // MIB} MiB are free on the disk: nothing starts by itself. Make room there.")

    # Jobs

    def write(self, job: Callable[[Session], T]) -> asyncio.Future[T]:
        """Hand in a job that writes; it is one transaction. The future fails with NotStored."""
        return self._hand_in(functools.partial(self._database.write, job))

    def read(self, job: Callable[[Session], T]) -> asyncio.Future[T]:
        """Hand in a job that only reads. The future fails with NotStored."""
        return self._hand_in(functools.partial(self._database.read, job))

    def in_background(self, job: Callable[[], T]) -> asyncio.Future[T]:
        """Have slow work that is not the database's done in its turn, such as reading an archive through."""
        return self._hand_in(job)

    def _hand_in(self, job: Callable[[], T]) -> asyncio.Future[T]:
        if self._open:
            self.waiting += 1
            handed_in = self._worker.submit(job)
            handed_in.add_done_callback(self._came_to_its_end)
            return handed_in
        refused: asyncio.Future[T] = asyncio.get_running_loop().create_future()
        refused.set_exception(NotStored("The store is closed: the service is ending."))
        return refused

    def _came_to_its_end(self, _: asyncio.Future[T]) -> None:
        self.waiting -= 1

    # Documents

    async def document(self, kind: str, name: str) -> Document:
        """One document, such as the sequence `morning`. Raises Unknown."""
        return await self.read(lambda session: documents.get(session, kind, name))

    async def documents(self, kind: str) -> list[Document]:
        """All of a kind, by name."""
        return await self.read(lambda session: documents.listed(session, kind))

    async def put_document(self, kind: str, name: str, body: dict[str, Any], expected: int | None) -> Document:
        """Make a document (`expected` None: it must not exist) or replace that revision of it.

        Raises Stale when it exists already, or is another revision by now; NotStored.
        """
        now = self._wall()
        return await self.write(lambda session: documents.put(session, kind, name, body, expected, now))

    async def delete_document(self, kind: str, name: str, expected: int) -> None:
        """Delete that revision of a document. Raises Unknown, Stale, NotStored."""
        now = self._wall()
        await self.write(lambda session: documents.delete(session, kind, name, expected, now))

    # States

    async def state(self, kind: str, name: str) -> dict[str, Any] | None:
        """What was kept under that name, such as the last firing of a timetable entry; or None."""
        return await self.read(lambda session: documents.state(session, kind, name))

    async def states(self, kind: str) -> dict[str, dict[str, Any]]:
        """All states of a kind, by name."""
        return await self.read(lambda session: documents.states(session, kind))

    async def set_state(self, kind: str, name: str, value: dict[str, Any] | None) -> None:
        """Keep a state; None forgets it. Raises NotStored."""
        await self.write(lambda session: documents.set_state(session, kind, name, value))

    # Runs

    async def put_run(self, run: Run) -> Run:
        """Add a run, or renew the one with that id; gives it back with its number. Raises NotStored.

        A run that was `queued`, `running` or `held` when the service ended is `unknown` after the next start.
        """
        return await self.write(lambda session: runs.put(session, run))

    async def get_run(self, run_id: str) -> Run:
        """One run. Raises Unknown."""
        return await self.read(lambda session: runs.get(session, run_id))

    async def runs(self, limit: int = 50, before: int | None = None, sequence: str | None = None) -> list[Run]:
        """Runs, newest first, from below a number on."""
        return await self.read(lambda session: runs.listed(session, limit, before, sequence))

    async def put_run_step(self, step: RunStep) -> None:
        """Add a step of a run, or renew the one at that position. Raises NotStored."""
        await self.write(lambda session: runs.put_step(session, step))

    async def run_steps(self, run_id: str, limit: int = 1000, after: int = -1) -> list[RunStep]:
        """The steps of a run behind a position, in order."""
        return await self.read(lambda session: runs.steps(session, run_id, limit, after))

    # Credentials

    async def credentials(self) -> list[Credential]:
        """All phones and keys, revoked ones too, oldest first."""
        return await self.read(credentials.all_of)

    async def put_credentials(self, *changed: Credential) -> None:
        """Add them, or renew those with their ids. Raises NotStored."""
        await self.write(lambda session: credentials.put(session, *changed))
