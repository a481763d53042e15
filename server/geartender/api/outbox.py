"""What waits to be sent on one live socket: bounded, the newest telemetry wins, and each servo keeps its own pace. Pure."""

from __future__ import annotations

from collections import deque
from typing import Any

Message = dict[str, Any]

EVENTS_MAX = 128
"""Messages; a listener that is so far behind is told so by a close, and gets a fresh snapshot when it comes back."""


class TooSlow(Exception):
    """The listener does not read what it asked for."""


class Outbox:
    """Messages of one socket. Time is a number of seconds handed in."""

    def __init__(self) -> None:
        self._events: deque[Message] = deque()
        self._snapshots: dict[str, Message] = {}
        self._telemetry: dict[str, Message] = {}
        self._period_s: dict[str, float] = {}
        self._due: dict[str, float] = {}

    def pace(self, servo: str, rate_hz: float) -> None:
        """Send telemetry of this servo at most so often."""
        self._period_s[servo] = 1.0 / rate_hz
        self._due[servo] = 0.0

    def put(self, message: Message) -> None:
        """Let a message wait. Raises TooSlow when too many events do."""
        if message["type"] == "telemetry":
            self._telemetry[message["servo"]] = message
        elif message["type"] == "snapshot":
            self._snapshots[message["servo"]] = message
        else:
            if len(self._events) >= EVENTS_MAX:
                raise TooSlow
            self._events.append(message)

    def take(self, now: float) -> Message | None:
        """The next message that may go now: events first, then snapshots, then telemetry that is due."""
        if self._events:
            return self._events.popleft()
        for servo in self._snapshots:
            return self._snapshots.pop(servo)
        for servo in self._telemetry:
            if self._due[servo] <= now:
                # From the time it was due, so that the rate holds on average; from now on when it fell behind.
                self._due[servo] = max(self._due[servo] + self._period_s[servo], now)
                return self._telemetry.pop(servo)
        return None

    def due(self) -> float | None:
        """When telemetry that waits may go; None when nothing waits."""
        return min((self._due[servo] for servo in self._telemetry), default=None)
