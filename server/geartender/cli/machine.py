"""Phones and keys from the machine itself: through the service while it runs, else in its store, which one process has at a time.

While a service runs it leaves its address and a key of its own in a file that only its user (and root) can read.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import os
from collections.abc import Awaitable, Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol, TypeVar

from geartender.cli.terminal import USAGE, stop_with

if TYPE_CHECKING:
    from geartender.access.admissions import Admissions
    from geartender.config import Settings

T = TypeVar("T")

FILE = "machine.json"
"""In the data folder, while the service runs."""

CONFIG = Path("/etc/geartender/geartender.toml")
"""Where `deploy/install.sh` puts the configuration."""

KEEPS_NOTHING = (
    "This configuration keeps nothing over a restart: give it data_dir in [service], so that phones and keys last."
)


class Desk(Protocol):
    """Where phones and keys are looked after."""

    def listed(self) -> list[dict[str, Any]]:
        """The phones and keys that were let in."""
        ...

    def add_key(self, name: str, role: str, servo: str | None, expires_at: str | None) -> dict[str, Any]:
        """Let a script in; gives its key."""
        ...

    def revoke(self, one_id: str, *, anyway: bool) -> None:
        """Let one in no longer."""
        ...

    def invite(self, role: str) -> dict[str, Any]:
        """Invite a phone."""
        ...


@contextmanager
def left_for_commands(folder: Path | None, url: str, key: Callable[[], str]) -> Iterator[None]:
    """Leave the address and a key for commands of this machine in the data folder, until the service ends."""
    if folder is None:
        yield
        return
    file, fresh = folder / FILE, folder / f"{FILE}.new"
    with contextlib.suppress(FileNotFoundError):
        fresh.unlink()
    private = os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with open(private, "w", encoding="utf-8") as writing:  # noqa: PTH123 - a path cannot be opened with these rights
        json.dump({"url": url, "key": key()}, writing)
    fresh.replace(file)
    try:
        yield
    finally:
        file.unlink(missing_ok=True)


def key_left_in(folder: Path | None) -> str | None:
    """The key that a running service has left for commands; None where there is none, or it is not for us."""
    if folder is None:
        return None
    try:
        return str(json.loads((folder / FILE).read_text(encoding="utf-8"))["key"])
    except (OSError, ValueError):
        return None


@contextmanager
def desk_of(config: Path) -> Iterator[Desk]:
    """The phones and keys of the service with that configuration, whether it runs or not."""
    from geartender.client import Client
    from geartender.config import load_settings
    from geartender.store.trouble import StoreInUse

    settings = load_settings(config)
    folder = settings.service.data_dir
    if folder is None and settings.store.url is None:
        stop_with(KEEPS_NOTHING, USAGE)
    resting = _Resting(settings)
    try:
        resting.try_out()
    except StoreInUse:
        if folder is None or not (folder / FILE).exists():
            raise
    else:
        yield resting
        return
    found = json.loads((folder / FILE).read_text(encoding="utf-8"))
    with Client(found["url"], found["key"]) as client:
        yield client.access


@contextmanager
def _left_to_its_owner(folder: Path | None) -> Iterator[None]:
    """As root, give what is made in the data folder to its owner: a file of root's would lock the service out of its store."""
    before = set() if folder is None or not folder.exists() else set(folder.iterdir())
    try:
        yield
    finally:
        if folder is not None and folder.exists() and os.geteuid() == 0:
            owner = folder.stat()
            for made in set(folder.iterdir()) - before:
                os.chown(made, owner.st_uid, owner.st_gid, follow_symlinks=False)


class _Resting:
    """The store of a service that does not run, opened for as long as a command needs it."""

    def __init__(self, settings: Settings) -> None:
        self._settings = settings

    def try_out(self) -> None:
        """Raise StoreInUse while a service runs."""
        self._do(lambda _: asyncio.sleep(0))

    def listed(self) -> list[dict[str, Any]]:
        async def look(admissions: Admissions) -> list[dict[str, Any]]:
            return [_shown(admissions, one) for one in admissions.register.listed()]

        return self._do(look)

    def add_key(self, name: str, role: str, servo: str | None, expires_at: str | None) -> dict[str, Any]:
        from datetime import datetime

        from geartender.access.roles import Role

        async def add(admissions: Admissions) -> dict[str, Any]:
            until = None if expires_at is None else datetime.fromisoformat(expires_at)
            one, key = await admissions.add_key(name, Role(role), servo, until, "the machine itself")
            return {**_shown(admissions, one), "key": key}

        if servo is not None and servo not in [one.name for one in self._settings.servo]:
            stop_with(f"The configuration has no servo {servo!r}.", USAGE)
        return self._do(add)

    def revoke(self, one_id: str, *, anyway: bool) -> None:
        del anyway  # at the machine there is always a way back in

        async def revoke(admissions: Admissions) -> None:
            await admissions.revoke(one_id, "the machine itself")

        self._do(revoke)

    def invite(self, role: str) -> dict[str, Any]:
        from geartender.access.roles import Role
        from geartender.api.app import page_url
        from geartender.api.pairing import offer_of
        from geartender.world import real_world

        if self._settings.service.port == 0:
            stop_with(
                "The configuration's port is 0, so the address is known only while the service runs. Start it first.",
                USAGE,
            )
        page = page_url(self._settings.service, real_world())

        async def invite(admissions: Admissions) -> dict[str, Any]:
            return offer_of(await admissions.leave_invitation(Role(role), "the machine itself"), page).model_dump(
                mode="json"
            )

        return self._do(invite)

    def _do(self, job: Callable[[Admissions], Awaitable[T]]) -> T:
        """Open the store, do something, close it. Raises StoreInUse while a service runs, NotStored."""
        from geartender.access.admissions import Admissions
        from geartender.api.app import store_url
        from geartender.errors import NotStored
        from geartender.store import Store
        from geartender.store.trouble import TELLS
        from geartender.world import real_world

        async def main() -> T:
            world = real_world()
            store = Store(store_url(self._settings), world, self._settings.site.zone)
            admissions = Admissions(store, world, anybody=False)
            await store.open()
            try:
                if store.trouble is not None:
                    raise NotStored(TELLS[store.trouble])
                await admissions.register.load()
                return await job(admissions)
            finally:
                await admissions.close()
                await store.close()

        os.umask(0o077)  # what the service keeps is for its own user
        with _left_to_its_owner(self._settings.service.data_dir):
            return asyncio.run(main())


def _shown(admissions: Admissions, one: Any) -> dict[str, Any]:
    from geartender.api.credentials import report_of

    return report_of(admissions.register, one, "", []).model_dump(mode="json")
