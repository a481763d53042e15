"""The register of everybody who was let in: in memory, so that no disk stands before a Stop; on disk, so that it lasts.

A change counts at once and is written then. What the disk did not take is tried again until it does.
"""

from __future__ import annotations

import asyncio
import logging
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

from geartender.access.roles import Role
from geartender.access.tokens import TOKEN_MAX_CHARS, digest, new_token
from geartender.errors import Busy, NotStored, Unknown
from geartender.store import Store
from geartender.store.credentials import Credential
from geartender.world import World

log = logging.getLogger(__name__)

PHONE, KEY = "phone", "key"

ID_BYTES = 6
"""Bytes of an id: it only tells them apart."""

PHONE_LIVES = timedelta(days=400)
"""A phone is paired anew after it: browsers keep no cookie for longer."""

PHONE_IDLE = timedelta(days=90)
"""Without use a phone is let in no longer: it lies in a drawer, or was sold."""

USED_WRITTEN_EVERY = timedelta(hours=1)
"""Between two writings of when one was used last: a memory card wears."""

LOOK_EVERY_S = 5.0
"""s between two looks at what is still to be written."""

LET_IN_MAX = 200
"""Phones and keys at once; far more than a household has."""


class Register:
    """The phones and keys. Everything is for the event loop's thread."""

    def __init__(self, store: Store, world: World) -> None:
        self._store = store
        self._wall = world.wall
        self._chance = world.secret_bytes
        self._all: dict[str, Credential] = {}
        self._by_digest: dict[str, str] = {}
        self._used: dict[str, datetime] = {}
        self._unsaved: set[str] = set()
        self._listeners: dict[str, set[Callable[[], None]]] = {}
        self._loaded = False

    # Life

    async def load(self) -> None:
        """Read what the store holds; what is here already stays. A store that cannot be read is tried again by `run`."""
        try:
            self._take(await self._store.credentials())
            self._loaded = True
        except NotStored as trouble:
            log.warning("who was let in cannot be read: %s", trouble)

    async def read_again(self) -> list[str]:
        """After a restore: those whom the backup has and who were not known here are let in too. Gives their names."""
        before, found = set(self._all), await self._store.credentials()
        self._unsaved |= before - {one.id for one in found}  # where a damaged database was put aside
        self._take(found)
        return [one.name for one_id, one in self._all.items() if one_id not in before and self.is_valid(one)]

    async def run(self) -> None:
        """Write what is still to be written, and read what could not be read. Ends by cancellation only."""
        while True:
            await asyncio.sleep(LOOK_EVERY_S)
            if not self._loaded:
                await self.load()
            self._note_use()
            try:
                await self.save()
            except NotStored as trouble:
                log.debug("not yet: %s", trouble)

    async def save(self) -> None:
        """Write what is still to be written. Raises NotStored; it is tried again later."""
        written = [self._all[one_id] for one_id in self._unsaved]
        if written:
            await self._store.put_credentials(*written)
            # What was changed meanwhile is another object by now, and still to be written.
            self._unsaved.difference_update(one.id for one in written if self._all[one.id] is one)

    def _take(self, found: Iterable[Credential]) -> None:
        for one in found:
            if one.id not in self._all:
                self._put(one)

    def _put(self, one: Credential) -> None:
        self._all[one.id] = one
        self._by_digest[one.digest] = one.id

    def _note_use(self) -> None:
        for one_id, at in self._used.items():
            one = self._all[one_id]
            if one.last_used_at is None or at - one.last_used_at >= USED_WRITTEN_EVERY:
                self._all[one_id] = replace(one, last_used_at=at)
                self._unsaved.add(one_id)

    # Looking

    def find(self, secret: str) -> Credential | None:
        """The one with this secret, if it is let in; it counts as used."""
        found = None
        if len(secret) <= TOKEN_MAX_CHARS:
            found = self._all.get(self._by_digest.get(digest(secret), ""))
        if found is None or not self.is_valid(found):
            return None
        self._used[found.id] = self._wall()
        return found

    def is_valid(self, one: Credential) -> bool:
        """Whether it is let in now: not revoked, not expired, not forgotten in a drawer."""
        now = self._wall()
        if one.revoked_at is not None or (one.expires_at is not None and one.expires_at <= now):
            return False
        return one.kind != PHONE or now - (self.last_used(one) or one.created_at) < PHONE_IDLE

    def last_used(self, one: Credential) -> datetime | None:
        """When it was used last."""
        return self._used.get(one.id, one.last_used_at)

    def listed(self) -> list[Credential]:
        """All that were not revoked, oldest first; expired ones too."""
        return [one for one in self._all.values() if one.revoked_at is None]

    def get(self, one_id: str) -> Credential:
        """One that was not revoked. Raises Unknown."""
        one = self._all.get(one_id)
        if one is None or one.revoked_at is not None:
            raise Unknown("There is no such phone or key, or it was revoked.")
        return one

    def managers(self) -> list[Credential]:
        """Those that may let others in."""
        return [one for one in self.listed() if one.role == Role.MANAGE and one.servo is None and self.is_valid(one)]

    # Changing

    async def add(
        self, kind: str, name: str, role: Role, servo: str | None = None, expires_at: datetime | None = None
    ) -> tuple[Credential, str]:
        """Let in another; gives it and its secret, which is kept nowhere. Raises Busy when there are too many."""
        if sum(map(self.is_valid, self.listed())) >= LET_IN_MAX:
            raise Busy(f"{LET_IN_MAX} phones and keys are let in already. Revoke one first.")
        now, secret = self._wall(), new_token(self._chance)
        one = Credential(
            id=f"{kind[0]}-{self._chance(ID_BYTES).hex()}",
            kind=kind,
            name=self._free_name(name),
            role=role.value,
            servo=servo,
            digest=digest(secret),
            passphrase=None,
            created_at=now,
            last_used_at=None,
            expires_at=now + PHONE_LIVES if kind == PHONE else expires_at,
            revoked_at=None,
        )
        self._put(one)
        self._unsaved.add(one.id)
        return one, secret

    def change(self, one_id: str, **changes: Any) -> Credential:
        """Give it another name, role or passphrase, or revoke it. Another role ends what it has open. To be saved then."""
        before = self.get(one_id)
        if "name" in changes and changes["name"] != before.name:
            changes["name"] = self._free_name(changes["name"])
        after = replace(before, **changes)
        self._put(after)
        self._unsaved.add(one_id)
        if (before.role, before.revoked_at) != (after.role, after.revoked_at):
            for listener in list(self._listeners.get(one_id, ())):
                listener()
        return after

    def revoke(self, one_id: str) -> None:
        """Let it in no longer; what it has open ends at once. To be saved then."""
        self.change(one_id, revoked_at=self._wall())

    @contextmanager
    def listening(self, one_id: str, listener: Callable[[], None]) -> Iterator[None]:
        """Call `listener` when what it may do has changed, or it is let in no longer."""
        listeners = self._listeners.setdefault(one_id, set())
        listeners.add(listener)
        try:
            yield
        finally:
            listeners.discard(listener)
            if not listeners:
                self._listeners.pop(one_id, None)

    def _free_name(self, name: str) -> str:
        """The name, with a number behind it when another has it: the journal must tell them apart."""
        taken, tried, number = {one.name for one in self.listed()}, name, 2
        while tried in taken:
            tried, number = f"{name} {number}", number + 1
        return tried
