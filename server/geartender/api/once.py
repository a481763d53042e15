"""`Idempotency-Key`: what was asked twice with the same key is done once (and answered from memory the second time).

A phone with a poor connection repeats a request that it got no answer to; a relative move must not run twice for it. A refusal is
remembered like a success: what was refused then must not start to move now, because a repetition came late.
"""

from __future__ import annotations

import asyncio
import hashlib
from collections import OrderedDict
from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from typing import TypeVar, cast

from geartender.errors import GeartenderError, Invalid

T = TypeVar("T")

REMEMBERED_S = 600.0
"""s; far longer than a phone goes on repeating, and short enough to forget within the same visit."""

REMEMBERED_MAX = 256
"""Keys; at one motion a second these are four minutes, and they cost next to nothing."""

Key = tuple[str, str, str]
"""Who asks, the path that was asked, and the key: two callers may use the same key."""


@dataclass
class _Entry:
    fingerprint: bytes
    until: float
    outcome: asyncio.Future[object]


class Once:
    """Remembers outcomes by key, for a while and up to a number."""

    def __init__(self, monotonic: Callable[[], float]) -> None:
        self._monotonic = monotonic
        self._entries: OrderedDict[Key, _Entry] = OrderedDict()

    async def do(self, key: Key | None, body: str, action: Callable[[], Awaitable[T]]) -> T:
        """Run `action`, or give the outcome (an error included) of the run with the same key. `None` is no key: run it.

        Raises Invalid when the key was used with another body.
        """
        if key is None:
            return await action()
        self._forget_old()
        fingerprint = hashlib.sha256(body.encode()).digest()
        entry = self._entries.get(key)
        if entry is None:
            return await self._first(key, fingerprint, action)
        if entry.fingerprint != fingerprint:
            raise Invalid("This Idempotency-Key was used with another body. Use a fresh key for each new request.")
        return cast("T", await asyncio.shield(entry.outcome))

    async def _first(self, key: Key, fingerprint: bytes, action: Callable[[], Awaitable[T]]) -> T:
        if len(self._entries) >= REMEMBERED_MAX:
            self._entries.popitem(last=False)
        outcome: asyncio.Future[object] = asyncio.get_running_loop().create_future()
        outcome.add_done_callback(_mark_seen)
        self._entries[key] = _Entry(fingerprint, self._monotonic() + REMEMBERED_S, outcome)
        try:
            result = await action()
        except GeartenderError as error:
            outcome.set_exception(error)
            raise
        except BaseException:
            outcome.cancel()
            self._entries.pop(key, None)
            raise
        outcome.set_result(result)
        return result

    def _forget_old(self) -> None:
        now = self._monotonic()
        while self._entries and next(iter(self._entries.values())).until <= now:
            self._entries.popitem(last=False)


def _mark_seen(outcome: asyncio.Future[object]) -> None:
    """Nobody may ever repeat a refused request; asyncio must not complain of an error that nobody fetched."""
    if not outcome.cancelled():
        outcome.exception()
