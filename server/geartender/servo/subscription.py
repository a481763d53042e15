"""A listener's end of a servo's messages, which can never hold up the servo.

Of telemetry and snapshots only the newest is kept for a slow listener; events wait in a bounded line, and when that is
full the oldest go and the listener is told how many.
"""

from __future__ import annotations

import asyncio
from collections import deque
from collections.abc import AsyncIterator, Callable
from typing import Any

from geartender.servo.motions import Who

Message = dict[str, Any]

EVENTS_MAX = 64
"""Messages; more than a listener misses while its phone sleeps a moment, and still nothing for the memory."""


class Subscription:
    """Messages of one servo for one listener: `async for message in subscription`. End it with `close`."""

    def __init__(self, who: Who | None, forget: Callable[[Subscription], None]) -> None:
        self.who = who
        self._forget = forget
        self._events: deque[Message] = deque()
        self._lost = 0
        self._snapshot: Message | None = None
        self._telemetry: Message | None = None
        self._something = asyncio.Event()
        self._closed = False

    def put(self, message: Message) -> None:
        """Hand a message over without waiting."""
        if self._closed:
            return
        if message["type"] == "telemetry":
            self._telemetry = message
        elif message["type"] == "snapshot":
            self._snapshot = message
        else:
            self._events.append(message)
            if len(self._events) > EVENTS_MAX:
                self._events.popleft()
                self._lost += 1
        self._something.set()

    def close(self) -> None:
        """No more messages; a waiting listener's loop ends."""
        if not self._closed:
            self._closed = True
            self._forget(self)
            self._something.set()

    def __aiter__(self) -> AsyncIterator[Message]:
        return self

    async def __anext__(self) -> Message:
        """The next message: events first, then the newest snapshot, then the newest telemetry."""
        while True:
            message = self._take()
            if message is not None:
                return message
            if self._closed:
                raise StopAsyncIteration
            self._something.clear()
            await self._something.wait()

    def _take(self) -> Message | None:
        if self._events:
            event, missed, self._lost = self._events.popleft(), self._lost, 0
            return {**event, "missed_before": missed} if missed else event
        if self._snapshot is not None:
            snapshot, self._snapshot = self._snapshot, None
            return snapshot
        telemetry, self._telemetry = self._telemetry, None
        return telemetry
