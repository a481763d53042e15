"""The link as a servo uses it: greeting, settings, and requests whose refusals come out as the service's own errors."""

from __future__ import annotations

import asyncio
import logging
import math
from collections.abc import Sequence

from geartender.errors import (
    Busy,
    Disarmed,
    Faulted,
    GaveUp,
    Invalid,
    LineTooSlow,
    NotHomed,
    Offline,
    OutsideTravel,
    QueueFull,
    Refused,
)
from geartender.link.events import Outcome
from geartender.link.exchange import WINDOW
from geartender.link.lines import Field, Reply
from geartender.link.port import Opener
from geartender.link.session import Link, LinkOwner
from geartender.servo.settings import setting_lines, settings_digest
from geartender.world import World

log = logging.getLogger(__name__)

ANSWER_S = 1.0
"""s to wait for an answer: fifty round trips of a slow line; whoever asked is still holding the phone."""

DEADLINE_S = 0.5
"""s from now after which the firmware must refuse what could move: nobody expects it any more."""

TELEMETRY_MS = 30
"""ms between telemetry lines: 5 kB/s, less than half of what the slowest line carries."""

LEAD_MIN_S = 0.012
"""s; six ticks: what the firmware needs to take a plan, and the loop to send it."""

SLOWEST_BYTE_S = 100e-6
"""s for a byte on the slowest line, a UART of 115200 baud, with a little on top."""

BEAT_BYTES = 80
"""Bytes of a beat and its answer: from their round trip follows how long a line of a plan takes at most."""

LINE_BYTES = 75
"""Bytes of a line of a plan, typically."""


class Drive:
    """One firmware at the other end of one link."""

    def __init__(self, name: str, opener: Opener, world: World, owner: LinkOwner) -> None:
        self._name = name
        self.link = Link(name, opener, owner, world.random, world.monotonic)
        self._now = world.monotonic
        self.ready = False
        """Greeted and configured: motion may be asked for."""
        self.holds: str | None = None
        """Digest of the settings that the firmware holds; None while that is not known."""

    async def greet(self, settings: dict[str, int] | None, address: str | None) -> None:
        """Bring the firmware's settings up to date and ask for telemetry; `address` is for its display. Raises Refused."""
        await self.ask("rate", TELEMETRY_MS)
        if address is not None:
            await self.ask("show", address)
        await self.configure(settings)

    async def configure(self, settings: dict[str, int] | None) -> None:
        """Send all settings, if there are any and it holds others; then its digest is the host's. Raises Refused."""
        if settings is not None and self.holds != settings_digest(settings):
            self.holds = None
            await self._send_settings(settings)
            self.holds = settings_digest(settings)
        self.ready = True

    async def _send_settings(self, settings: dict[str, int]) -> None:
        log.info("%s: the controller holds other settings than the sheet's; sending them", self._name)
        await self.ask_all([("set", line) for line in setting_lines(settings)])
        reply = await self.ask("settings")
        if reply.fields != (settings_digest(settings), "0"):
            raise Invalid(
                "The firmware holds other settings than were sent; install the firmware that came with this service."
            )

    async def ask(self, verb: str, *fields: Field) -> Reply:
        """Ask and wait for the answer. Raises Refused for a refusal and for none."""
        return await self._answer(self._request(verb, fields))

    async def ask_all(self, requests: Sequence[tuple[str, tuple[Field, ...]]]) -> None:
        """Ask one after the other without waiting in between; raises for the first refusal, after all were answered."""
        futures = [self._request(verb, fields) for verb, fields in requests]
        failures = [error for error in await asyncio.gather(*map(self._outcome, futures)) if error is not None]
        if failures:
            raise failures[0]

    def send(self, verb: str, *fields: Field) -> asyncio.Future[Reply]:
        """Send without waiting, in place of one of the same verb that still waits. Raises Refused."""
        try:
            return self.link.request(verb, *fields, give_up_after_s=DEADLINE_S, newest_only=True)
        except QueueFull as error:
            raise self._no_room() from error

    def stop(self, category: int) -> int:
        """Say stop; gives its number."""
        return self.link.stop(category)

    def deadline(self, ahead_s: float = DEADLINE_S) -> int:
        """The firmware's time so long from now. Raises Offline while clocks are not matched."""
        return self.wire_time(self._now() + ahead_s)

    def ahead_s(self, host: float) -> float:
        """How far ahead a host time is."""
        return host - self._now()

    def wire_time(self, host: float) -> int:
        """The firmware's time at that host time, as on the wire. Raises Offline while clocks are not matched."""
        clock = self.link.exchange.clock
        if not clock.known:
            raise Offline("The link has only just come up; try again in a moment.")
        return clock.wire(host)

    def host_time(self, t: int) -> float:
        """The host's time of a firmware time near now."""
        clock = self.link.exchange.clock
        return clock.host(t, self._now()) if clock.known else self._now()

    def lead_s(self, lines: int) -> float:
        """How far ahead a plan of so many lines must start to be there in time.

        A window full of lines goes out in a round trip; on a line that is slow byte by byte, in the time of its bytes.
        """
        exchange = self.link.exchange
        usual, least = exchange.round_trip or 0.0, exchange.least_round_trip
        return (
            LEAD_MIN_S
            + usual * math.ceil(lines / WINDOW)
            + lines * LINE_BYTES * min(least / BEAT_BYTES, SLOWEST_BYTE_S)
        )

    def _request(self, verb: str, fields: tuple[Field, ...]) -> asyncio.Future[Reply]:
        try:
            return self.link.request(verb, *fields, give_up_after_s=ANSWER_S)
        except QueueFull as error:
            raise self._no_room() from error

    def _no_room(self) -> Refused:
        if not self.link.open:
            return Offline("There is no link to the servo's controller.")
        return Busy("Too many requests wait for the servo's controller; try again in a moment.")

    async def _answer(self, future: asyncio.Future[Reply]) -> Reply:
        error = await self._outcome(future)
        if error is not None:
            raise error
        return future.result()

    async def _outcome(self, future: asyncio.Future[Reply]) -> Refused | None:
        try:
            reply = await future
        except GaveUp as error:
            return given_up(error)
        return None if reply.ok else refusal(reply)


def given_up(error: GaveUp) -> Refused:
    """A request without an answer, as a refusal."""
    if error.outcome == Outcome.DROPPED:
        return Busy("A stop came first; nothing was started.")
    if error.outcome == Outcome.CLOSED:
        return Offline("The link to the servo's controller was lost; whether it still obeyed is not known.")
    return Offline("The servo's controller did not answer in time; whether it obeyed is not known.")


def refusal(reply: Reply) -> Refused:
    """The firmware's refusal in the service's words."""
    detail = f" ({reply.detail})" if reply.detail else ""
    if reply.reason in ("late", "join"):
        return LineTooSlow("The line to the servo's controller is too slow just now; nothing was started.")
    kind, text = _REFUSALS.get(reply.reason, (Invalid, f"The servo's controller refuses this: {reply.reason}{detail}."))
    return kind(text + (detail if reply.reason in _REFUSALS else ""))


_REFUSALS: dict[str, tuple[type[Refused], str]] = {
    "disarmed": (Disarmed, "The servo is disarmed. Arm it first."),
    "armed": (Busy, "This can only be done while the servo is disarmed."),
    "fault": (Faulted, "A fault stands. See what happened, then reset."),
    "homeless": (NotHomed, "The position is not known. Home it first."),
    "busy": (Busy, "Another motion runs. Stop it, or wait."),
    "stopped": (Busy, "A stop came first; nothing was started."),
    "rest": (Busy, "The plan did not end at rest; nothing was started."),
    "travel": (OutsideTravel, "It would leave the travel."),
    "full": (Invalid, "The motion has more parts than the controller holds. Go quicker, or in parts."),
    "led": (Busy, "The pulse at the input leads. Take the lead first."),
    "pulseless": (Invalid, "The build sheet has no pulse input in use. Give it [pulse], with the angles of its ends."),
    "unset": (Busy, "The controller has not got its settings yet; try again in a moment."),
}
