"""The asyncio shell around the exchange: opens the port, feeds, writes, waits, and begins again when the link is lost.

It decides nothing about the servo; whoever owns it gets the events and decides.
"""

from __future__ import annotations

import asyncio
import contextlib
import logging
import random
from collections.abc import Callable
from typing import Protocol

from geartender.errors import GaveUp, PortError
from geartender.link.events import Closed, Ended, Event, Opened, Outcome, Phase, Request
from geartender.link.exchange import Exchange
from geartender.link.lines import Field, Reply
from geartender.link.port import Opener, Port

log = logging.getLogger(__name__)

RETRY_FIRST_S = 0.25
"""s before a lost port is opened again."""

RETRY_QUICK_S = 0.5
"""s between attempts in the first while: a cable that is put back is found within 2 s."""

RETRY_QUICK_FOR_S = 10.0
"""s of quick attempts, as long as somebody may be standing there with the cable in hand."""

RETRY_MAX_S = 5.0
"""s between attempts after that: nobody waits, and the log stays short."""

RELEASED_MAX_S = 900.0
"""s after which a port that was let go is taken again: whoever wanted it has forgotten to say that it is done."""

LEAVE_S = 0.02
"""s for a last stop to leave the system's buffers before the port is closed and they are thrown away."""

GREETING_MAX_S = 3.0
"""s of unanswered greetings after which the port is opened afresh: the board behind it may be another one by now."""


class LinkOwner(Protocol):
    """Who gets the events of a link; called on the event loop."""

    def on_link_event(self, event: Event) -> None:
        """Something happened in the conversation. A port that cannot be opened is told as Closed."""


class Link:
    """One link for ever: `run` keeps it; `request` and `stop` use it."""

    def __init__(
        self, name: str, opener: Opener, owner: LinkOwner, dice: random.Random, now: Callable[[], float]
    ) -> None:
        self.exchange = Exchange(dice)
        self.reconnects = 0
        self.turns = 0
        """Counts on for as long as the link goes on, whether or not anybody is behind the port."""
        self._name = name
        self._opener = opener
        self._owner = owner
        self._now = now
        self._port: Port | None = None
        self._lost: asyncio.Event | None = None
        self._wanted: asyncio.Event | None = None
        self._timer: asyncio.TimerHandle | None = None
        self._futures: dict[Request, asyncio.Future[Reply]] = {}
        self._greeting_since: float | None = None
        self._opened_before = False
        self._talked = False
        self._handing_out = False
        self._reason = "not connected yet"

    @property
    def open(self) -> bool:
        """Whether requests can be made."""
        return self.exchange.phase is Phase.OPEN

    @property
    def released(self) -> bool:
        """Whether the port was let go for another program."""
        return self._wanted is not None

    @property
    def port_open(self) -> bool:
        """Whether there is a port, whoever is behind it."""
        return self._port is not None

    async def run(self) -> None:
        """Open the port, keep it, and open it again when it is lost. Ends by cancellation."""
        failing_since = self._now()
        delay = RETRY_FIRST_S
        while True:
            self.turns += 1
            try:
                if await self._serve():
                    failing_since, delay = self._now(), RETRY_FIRST_S
            except PortError as error:
                self._failed(str(error))
            if self._wanted is not None:
                await self._stay_away(self._wanted)
                failing_since, delay = self._now(), RETRY_FIRST_S
            await asyncio.sleep(delay)
            quick = self._now() - failing_since < RETRY_QUICK_FOR_S
            delay = RETRY_QUICK_S if quick else min(delay * 2, RETRY_MAX_S)

    async def _stay_away(self, wanted: asyncio.Event) -> None:
        """Leave the port alone until it is wanted again."""
        with contextlib.suppress(TimeoutError):
            await asyncio.wait_for(wanted.wait(), RELEASED_MAX_S)
        self._wanted = None

    def release(self) -> None:
        """Close the port, and leave it alone until `reconnect`, or for `RELEASED_MAX_S`."""
        if self._wanted is None:
            self._wanted = asyncio.Event()
        self.on_lost("another program was let have the port")

    def reconnect(self) -> None:
        """Open the port again, if it was let go."""
        if self._wanted is not None:
            self._wanted.set()

    def request(
        self, verb: str, *fields: Field, give_up_after_s: float, newest_only: bool = False
    ) -> asyncio.Future[Reply]:
        """Queue a request and have it sent as soon as may be; the future gives the reply, ok or refused.

        The future raises GaveUp when there is no answer. Raises QueueFull at once when there is no room or no link.
        """
        request = self.exchange.request(verb, fields, self._now(), give_up_after_s, newest_only=newest_only)
        future: asyncio.Future[Reply] = asyncio.get_running_loop().create_future()
        future.add_done_callback(_look_at)
        self._futures[request] = future
        self._pump()
        return future

    def stop(self, category: int) -> int:
        """Say stop; the bytes are with the port when this returns. Gives the number that telemetry will show."""
        number = self.exchange.stop(category, self._now())
        self._pump()
        return number

    # What the port says

    def on_bytes(self, data: bytes) -> None:
        """Take bytes, and answer at once what needs an answer."""
        self.exchange.receive(data, self._now())
        self._pump()

    def on_lost(self, reason: str) -> None:
        """The port is gone."""
        self._reason = reason
        if self._lost is not None:
            self._lost.set()

    # Inside

    async def _serve(self) -> bool:
        """One port from opening to its loss; whether a conversation came about. Raises PortError."""
        self._lost = asyncio.Event()
        self._reason = "the port was lost"
        self._talked = False
        self._port = await self._opener.open(self)
        try:
            self._greet()
            await self._lost.wait()
        except asyncio.CancelledError:
            # The service ends: ramp down now rather than after the firmware's silence.
            self.stop(1)
            await asyncio.sleep(LEAVE_S)
            raise
        finally:
            self._hang_up()
        return self._talked

    def _greet(self) -> None:
        self._greeting_since = self._now()
        self.exchange.connect(self._now())
        self._pump()

    def _hang_up(self) -> None:
        if self._port is not None:
            self._port.close()
            self._port = None
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None
        self.exchange.disconnect(self._reason)
        self._hand_out()

    def _failed(self, reason: str) -> None:
        if reason != self._reason:
            log.warning("link of %s: %s", self._name, reason)
        self._reason = reason
        self._owner.on_link_event(Closed(reason))

    def _pump(self, due: float = 0.0) -> None:
        """Write what is due, hand out what happened, and set the timer anew.

        A timer may come a rounding error early by the clock; `due` then counts instead, or it would come for ever.
        """
        self.turns += 1
        if self._port is not None:
            self._check_greeting()
            data = self.exchange.data_to_send(max(self._now(), due))
            if data:
                self._port.write(data)
        self._hand_out()
        self._set_timer()

    def _check_greeting(self) -> None:
        since = self._greeting_since
        if self.exchange.phase is not Phase.OPENING or since is None or self._lost is None:
            return
        if self._now() - since > GREETING_MAX_S:
            self._reason = "the port is open, but no firmware answers"
            self._lost.set()

    def _set_timer(self) -> None:
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None
        due = self.exchange.next_deadline()
        if due is not None and self._port is not None:
            self._timer = asyncio.get_running_loop().call_at(due, self._pump, due)

    def _hand_out(self) -> None:
        """Give every event to the owner, in order, also those that its own calls bring about meanwhile."""
        if self._handing_out:
            return
        self._handing_out = True
        try:
            while events := self.exchange.events():
                for event in events:
                    self._hand(event)
        finally:
            self._handing_out = False

    def _hand(self, event: Event) -> None:
        if isinstance(event, Ended):
            self._resolve(event.request)
            return
        if isinstance(event, Opened):
            self.reconnects += self._opened_before
            self._opened_before = self._talked = True
            self._greeting_since = None
        self._owner.on_link_event(event)
        if isinstance(event, Closed) and self._port is not None:
            log.warning("link of %s: %s; greeting again", self._name, event.reason)
            asyncio.get_running_loop().call_soon(self._greet_again)

    def _greet_again(self) -> None:
        if self._port is not None and self.exchange.phase is Phase.CLOSED:
            self._greet()

    def _resolve(self, request: Request) -> None:
        future = self._futures.pop(request, None)
        if future is None or future.done():
            return
        if request.outcome is Outcome.ANSWERED and request.reply is not None:
            future.set_result(request.reply)
        else:
            future.set_exception(GaveUp(request.verb, request.outcome))


def _look_at(future: asyncio.Future[Reply]) -> None:
    """Count a failure as seen: some requests are sent for their effect, and nobody waits for their answer."""
    if not future.cancelled():
        future.exception()
