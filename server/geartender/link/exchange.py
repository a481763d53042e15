"""The host's side of the conversation with the firmware, without any I/O.

Bytes and times go in; bytes to send, events and the next deadline come out. Times are seconds on a clock that never
goes back. It holds every rule of PROTOCOL.md that is the host's: ids in order, resending until answered or given up, a
window, a bounded queue, the stop that overtakes everything, beats, stale telemetry, and matching clocks.
"""

from __future__ import annotations

import random
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field

from geartender.errors import QueueFull
from geartender.link.clock import Clock
from geartender.link.events import Closed, Ended, Event, Incompatible, Opened, Outcome, Phase, Request, StopConfirmed
from geartender.link.lines import (
    CLOCK_SPAN,
    PROTOCOL_VERSION,
    Field,
    FirmwareEvent,
    Hello,
    LineReader,
    Reply,
    Telemetry,
    joined,
    seal,
    wrapped,
)
from geartender.link.pace import Pace

WINDOW = 8
"""Ids from the oldest unanswered request on: the firmware remembers 16, so each can be answered again from memory."""

QUEUE_MAX = 64
"""Requests that may wait to be sent: a full plan of 32 pieces with its ends, and as much again."""

BEAT_S = 0.05
"""s between beats: three of them are lost before the firmware's 250 ms of silence are over."""

STALE_S = 0.5
"""s without telemetry after which what is shown can no longer be called live."""

STOP_REPEAT_S = 0.03
"""s between repetitions of an unconfirmed stop: about one telemetry period, so a heard stop is rarely said twice."""

HELLO_REPEAT_S = 0.25
"""s between repetitions of an unanswered `hello`: quick enough to be back within 2 s, and no flood."""

AHEAD_S = 0.05
"""s by which telemetry may seem to come from the future, for the doubt in matched clocks; beyond it, it is not ours."""

UNANSWERED_MAX_S = 2.0
"""s; telemetry comes but answers do not: both sides have lost each other's count, only a new `hello` helps."""

INCOMPATIBLE_REPEAT_S = 5.0
"""s between greetings of a firmware that speaks another protocol: somebody may be installing the right one."""

ID_BASE_MAX = 1 << 29
"""Half of what the firmware takes as a first id, so that years of ids still fit its small integers."""

LONGEST_ID = 10**10 - 1
"""An id longer than any that will be used: a request that fits a line with it fits with its own."""

MOVES = frozenset({"arm", "lead", "home", "plan", "piece", "bound", "go", "turn", "jog"})
"""Verbs after which something may move: a stop throws away those that still wait."""


@dataclass(slots=True)
class _Stop:
    category: int
    number: int
    due: float


@dataclass(slots=True)
class _Counts:
    """What went wrong in this conversation, for those who look after the link."""

    resent: int = 0
    late_telemetry: int = 0
    unknown_lines: int = 0
    stray_replies: int = 0


@dataclass(slots=True)
class _Greeting:
    token: str
    request: Request
    due: float = field(default=0.0)


class Exchange:
    """One end of the link. Feed it with `receive`, write what `data_to_send` gives, come back at `next_deadline`."""

    def __init__(self, dice: random.Random) -> None:
        self.phase = Phase.CLOSED
        self.clock = Clock()
        self.counts = _Counts()
        self.firmware_dropped = 0
        self.telemetry_at: float | None = None
        self._dice = dice
        self._reader = LineReader()
        self._pace = Pace()
        self._events: deque[Event] = deque()
        self._waiting: deque[Request] = deque()
        self._unanswered: deque[Request] = deque()
        self._greeting: _Greeting | None = None
        self._stop: _Stop | None = None
        self._stop_number = 0
        self._next_id = 0
        self._next_beat = 0.0
        self._newest_t: int | None = None

    # What the shell does

    def connect(self, now: float) -> None:
        """Begin a conversation: a fresh token, fresh ids, and `hello` until it is answered."""
        self._end(Outcome.CLOSED)
        self.phase = Phase.OPENING
        self.clock = Clock()
        self._pace = Pace()
        self.counts = _Counts()
        self._newest_t = None
        self.telemetry_at = None
        token = f"{self._dice.getrandbits(32):08x}"
        hello = Request("hello", (token, PROTOCOL_VERSION), give_up_at=float("inf"))
        hello.seal(self._dice.randrange(ID_BASE_MAX))
        self._greeting = _Greeting(token, hello, due=now)

    def disconnect(self, reason: str) -> None:
        """The port is gone: the conversation is over, nothing is left to send."""
        was = self.phase
        self._end(Outcome.CLOSED)
        self._reader.forget()
        self._greeting = None
        self._stop = None
        self.phase = Phase.CLOSED
        if was is not Phase.CLOSED:
            self._events.append(Closed(reason))

    def request(
        self, verb: str, fields: tuple[Field, ...], now: float, give_up_after_s: float, *, newest_only: bool = False
    ) -> Request:
        """Queue a request. With `newest_only`, one of the same verb that still waits is dropped for it.

        Raises QueueFull when too many wait or no conversation is open; ValueError when it does not fit a line.
        """
        if self.phase is not Phase.OPEN:
            raise QueueFull("no conversation with the firmware is open")
        if newest_only:
            self._drop(lambda other: other.newest_only and other.verb == verb)
        if len(self._waiting) >= QUEUE_MAX:
            raise QueueFull(f"{QUEUE_MAX} requests wait for the firmware already")
        request = Request(verb, fields, now + give_up_after_s, newest_only=newest_only)
        request.seal(LONGEST_ID)
        self._waiting.append(request)
        return request

    def stop(self, category: int, now: float) -> int:
        """Say stop, before everything else and until telemetry shows its number, which is given back.

        A stop that is not confirmed yet is merged with it; the harder one counts. What could move and waits is dropped.
        """
        if self._stop is not None:
            category = min(category, self._stop.category)
        self._stop_number += 1
        self._stop = _Stop(category, self._stop_number, due=now)
        self._drop(lambda request: request.verb in MOVES)
        self._vacate(lambda request: request.verb in MOVES, Outcome.DROPPED)
        return self._stop_number

    def receive(self, data: bytes, now: float) -> None:
        """Take bytes from the port, in whatever pieces they come."""
        for body in self._reader.feed(data):
            self._take(body, now)

    def data_to_send(self, now: float) -> bytes:
        """Everything that is due now, the stop first."""
        self._watch(now)
        out = bytearray()
        if self._stop is not None and now >= self._stop.due:
            out += seal(joined(("stop", self._stop.category, self._stop.number)))
            self._stop.due = now + STOP_REPEAT_S
        if self._greeting is not None and now >= self._greeting.due:
            out += self._send(self._greeting.request, now)
            self._greeting.due = now + HELLO_REPEAT_S
        if self.phase is Phase.OPEN:
            out += self._beat(now)
            out += self._resend(now)
            out += self._send_waiting(now)
        return bytes(out)

    def next_deadline(self) -> float | None:
        """When `data_to_send` has to be called again at the latest; None: not before something arrives."""
        times = []
        if self._stop is not None:
            times.append(self._stop.due)
        if self._greeting is not None:
            times.append(self._greeting.due)
        if self.phase is Phase.OPEN:
            times.append(self._next_beat)
            times += [request.resend_at for request in list(self._unanswered)[:1]]
            times += [request.give_up_at for request in (*self._unanswered, *self._waiting)]
            if self.telemetry_at is not None:
                times.append(self.telemetry_at + STALE_S)
        return min(times, default=None)

    def events(self) -> list[Event]:
        """What happened since the last call, in order."""
        taken = list(self._events)
        self._events.clear()
        return taken

    @property
    def stop_pending(self) -> int | None:
        """The number of the stop that is not confirmed yet."""
        return None if self._stop is None else self._stop.number

    @property
    def dropped(self) -> int:
        """Lines that this side had to drop since it was made."""
        return self._reader.dropped

    @property
    def round_trip(self) -> float | None:
        """The usual round trip, s."""
        return self._pace.usual

    @property
    def least_round_trip(self) -> float:
        """The least round trip of this conversation, s; 0 before the first answer."""
        return self._pace.least

    # Coming in

    def _take(self, body: str, now: float) -> None:
        if body.startswith("~"):
            row = Telemetry.from_body(body)
            if row is not None:
                self._take_telemetry(row, now)
                return
        elif body.startswith("!"):
            event = FirmwareEvent.from_body(body)
            if event is not None:
                self._take_event(event)
                return
        else:
            reply = Reply.from_body(body)
            if reply is not None:
                self._take_reply(reply, now)
                return
        self.counts.unknown_lines += 1

    def _take_telemetry(self, row: Telemetry, now: float) -> None:
        if self.phase is not Phase.OPEN or not self._fresh(row.t, now):
            self.counts.late_telemetry += 1
            return
        self._newest_t = row.t
        self.telemetry_at = now
        if self._stop is not None and row.number == self._stop.number:
            number, self._stop = self._stop.number, None
            self._events.append(StopConfirmed(number))
        self._events.append(row)

    def _fresh(self, t: int, now: float) -> bool:
        """Newer than the newest, and not from a future that this firmware's clock cannot have reached."""
        if self._newest_t is not None and wrapped(t - self._newest_t) <= 0:
            return False
        if not self.clock.known:
            return True
        ahead = wrapped(t - self.clock.wire(now)) / 1e6
        return -STALE_S <= ahead <= AHEAD_S + (self.clock.round_trip or 0.0)

    def _take_event(self, event: FirmwareEvent) -> None:
        self._events.append(event)
        if event.name == "boot" and self.phase is Phase.OPEN:
            self._lose("the firmware started anew")

    def _take_reply(self, reply: Reply, now: float) -> None:
        if self._greeting is not None and reply.id == self._greeting.request.id:
            self._take_hello(reply, self._greeting, now)
            return
        request = next((one for one in self._unanswered if one.id == reply.id), None)
        if request is None:
            self.counts.stray_replies += 1
            return
        if not reply.ok and reply.reason == "order":
            self._fill_gap(request, now)
        elif not reply.ok and reply.reason in ("hello", "stale"):
            self._lose("the firmware has lost the conversation")
        else:
            self._answered(request, reply, now)

    def _answered(self, request: Request, reply: Reply, now: float) -> None:
        self._unanswered.remove(request)
        self._pace.add(now - request.first_sent, request.sends)
        if request.verb == "beat" and reply.ok and len(reply.fields) == 3:
            self._match_clocks(request, reply, now)
        if request.outcome is Outcome.WAITING:
            request.outcome, request.reply = Outcome.ANSWERED, reply
            self._events.append(Ended(request))

    def _match_clocks(self, beat: Request, reply: Reply, now: float) -> None:
        t, bad, _lost = reply.fields
        if t.isdigit() and bad.isdigit() and int(t) < CLOCK_SPAN:
            self.clock.add(beat.first_sent, now, int(t))
            self.firmware_dropped = int(bad)

    def _take_hello(self, reply: Reply, greeting: _Greeting, now: float) -> None:
        if not reply.ok:
            if reply.reason == "protocol":
                self._incompatible(f"the firmware does not speak protocol {PROTOCOL_VERSION}; install it anew", now)
            return
        hello = Hello.from_fields(reply.fields)
        if hello is None or hello.token != greeting.token:
            self.counts.stray_replies += 1
        elif hello.protocol != PROTOCOL_VERSION:
            self._incompatible(
                f"the firmware {hello.version} speaks protocol {hello.protocol}, this service {PROTOCOL_VERSION}; "
                "install the firmware that came with it",
                now,
            )
        else:
            self._open(hello, greeting, now)

    def _open(self, hello: Hello, greeting: _Greeting, now: float) -> None:
        assert greeting.request.id is not None  # noqa: S101 - it was sealed when it was made
        self._greeting = None
        self.phase = Phase.OPEN
        self._next_id = greeting.request.id + 1
        self._next_beat = now
        self._stop_number = hello.known
        if self._stop is not None:
            self._stop_number += 1
            self._stop.number = self._stop_number
        self.telemetry_at = now
        self._events.append(Opened(hello))

    def _incompatible(self, reason: str, now: float) -> None:
        if self.phase is not Phase.INCOMPATIBLE:
            self.phase = Phase.INCOMPATIBLE
            self._events.append(Incompatible(reason))
        if self._greeting is not None:
            self._greeting.due = now + INCOMPATIBLE_REPEAT_S

    # Going out

    def _watch(self, now: float) -> None:
        """Give up what has waited too long, and the conversation when telemetry has stopped coming."""
        if self.phase is not Phase.OPEN:
            return
        if self.telemetry_at is not None and now >= self.telemetry_at + STALE_S:
            self._lose("nothing was heard from the firmware for half a second")
            return
        if self._unanswered and now >= self._unanswered[0].first_sent + UNANSWERED_MAX_S:
            self._lose("the firmware no longer answers")
            return
        for request in [one for one in self._waiting if now >= one.give_up_at]:
            self._waiting.remove(request)
            self._finish(request, Outcome.GIVEN_UP)
        self._vacate(lambda request: now >= request.give_up_at, Outcome.GIVEN_UP)

    def _beat(self, now: float) -> bytes:
        """A beat in its turn; where the window has no room for one, the oldest request once more keeps the lead alive."""
        if now < self._next_beat:
            return b""
        self._next_beat = now + BEAT_S
        if not self._room():
            return self._unanswered[0].line
        if not self._waiting:
            self._waiting.append(Request("beat", (), give_up_at=float("inf")))
        return b""

    def _room(self) -> bool:
        """Whether the next id is near enough to the oldest unanswered one, whose answer the firmware must still have."""
        oldest = self._unanswered[0].id if self._unanswered else None
        return oldest is None or self._next_id < oldest + WINDOW

    def _resend(self, now: float) -> bytes:
        """Everything unanswered, in order, when the time of the oldest is up: without it the others are not obeyed."""
        if not self._unanswered or now < self._unanswered[0].resend_at:
            return b""
        self.counts.resent += len(self._unanswered)
        return b"".join(self._send(request, now) for request in self._unanswered)

    def _send_waiting(self, now: float) -> bytes:
        out = bytearray()
        while self._waiting and self._room():
            request = self._waiting.popleft()
            request.seal(self._next_id)
            self._next_id += 1
            self._unanswered.append(request)
            out += self._send(request, now)
        return bytes(out)

    def _send(self, request: Request, now: float) -> bytes:
        if not request.sends:
            request.first_sent = now
        request.sends += 1
        request.last_sent = now
        request.resend_at = now + self._pace.patience(request.sends, len(self._unanswered))
        return request.line

    def _fill_gap(self, ahead: Request, now: float) -> None:
        """The firmware got this one before an earlier one: send all again at once, unless it speaks of an earlier sending."""
        if ahead.sends == 1:
            self._pace.add(now - ahead.first_sent, 1)
        if now - ahead.last_sent >= self._pace.least:
            self._unanswered[0].resend_at = now

    # Endings

    def _vacate(self, which: Callable[[Request], bool], outcome: Outcome) -> None:
        """End requests that were sent already; a beat takes the place of each, so that the next ones stay in step."""
        for place, request in enumerate(self._unanswered):
            if which(request):
                self._finish(request, outcome)
                self._unanswered[place] = request.beat_instead()

    def _drop(self, which: Callable[[Request], bool]) -> None:
        for request in [one for one in self._waiting if which(one)]:
            self._waiting.remove(request)
            self._finish(request, Outcome.DROPPED)

    def _finish(self, request: Request, outcome: Outcome) -> None:
        if request.outcome is Outcome.WAITING:
            request.outcome = outcome
            self._events.append(Ended(request))

    def _end(self, outcome: Outcome) -> None:
        for request in (*self._unanswered, *self._waiting):
            self._finish(request, outcome)
        self._unanswered.clear()
        self._waiting.clear()

    def _lose(self, reason: str) -> None:
        """The conversation is broken: close it; the shell decides whether to greet again."""
        self._end(Outcome.CLOSED)
        self.phase = Phase.CLOSED
        self._events.append(Closed(reason))
