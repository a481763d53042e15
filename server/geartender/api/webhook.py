"""Tells an address of the user's choice about notices: one POST for each change, signed, and repeated until it is taken.

The body is JSON. `Geartender-Signature` is the HMAC-SHA-256 (RFC 2104), in hex, of the text of `Geartender-Time`, a line feed
and the body, under the secret of the configuration; a receiver that checks both cannot be fooled by an old message sent again.
"""

from __future__ import annotations

import asyncio
import hashlib
import hmac
import json
import logging
from collections import deque
from datetime import datetime

from geartender.api.models import NoticeReport
from geartender.store.notices import Change, Notice
from geartender.world import World

log = logging.getLogger(__name__)

AGAIN_FIRST_S = 5.0
"""s until a message that was not taken is sent again; doubled each time, up to `AGAIN_MAX_S`."""

AGAIN_MAX_S = 3600.0
"""s; a receiver that was away for the night hears of it within the hour."""

WAITING_MAX = 200
"""Messages that wait; the oldest goes, since notices that still stand can be read at the service."""


class Webhook:
    """Sends what happens to notices, one after the other, in order. Never holds anything up."""

    def __init__(self, url: str, secret: str, world: World) -> None:
        self._url = url
        self._secret = secret.encode()
        self._world = world
        self._waiting: deque[tuple[Change, Notice, datetime]] = deque(maxlen=WAITING_MAX)
        self._something = asyncio.Event()

    def tell(self, change: Change, notice: Notice) -> None:
        """Take a change in; it is sent as soon as can be."""
        self._waiting.append((change, notice, self._world.wall()))
        self._something.set()

    async def run(self) -> None:
        """Send what waits, for ever. Ends by cancellation only."""
        while True:
            await self._something.wait()
            self._something.clear()
            while self._waiting:
                first = self._waiting[0]
                await self._deliver(*first)
                if self._waiting and self._waiting[0] is first:
                    self._waiting.popleft()

    async def _deliver(self, change: Change, notice: Notice, at: datetime) -> None:
        body = message(change, notice, at)
        pause = AGAIN_FIRST_S
        while not await self._taken(body):
            await asyncio.sleep(pause)
            pause = min(2 * pause, AGAIN_MAX_S)

    async def _taken(self, body: bytes) -> bool:
        time = self._world.wall().isoformat()
        headers = {
            "Content-Type": "application/json",
            "Geartender-Time": time,
            "Geartender-Signature": signature(self._secret, time, body),
        }
        try:
            status = await self._world.post(self._url, body, headers)
        except OSError as error:
            log.warning("the address for notices does not answer: %s", error)
            return False
        if not 200 <= status < 300:
            log.warning("the address for notices answers %d", status)
        return 200 <= status < 300


def message(change: Change, notice: Notice, at: datetime) -> bytes:
    """The body that tells of a change."""
    shown = NoticeReport.of(notice).model_dump(mode="json")
    return json.dumps({"change": change, "at": at.isoformat(), "notice": shown}).encode()


def signature(secret: bytes, time: str, body: bytes) -> str:
    """What the receiver works out too, and compares."""
    return hmac.new(secret, time.encode() + b"\n" + body, hashlib.sha256).hexdigest()
