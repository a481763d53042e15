"""Lines of the link, to bytes and back: the sum, the reader that survives anything, and the words that both sides use.

Everything is in PROTOCOL.md. Nothing here knows time or waits; a bad line is dropped and counted, never raised.
"""

from __future__ import annotations

import binascii
from collections.abc import Iterable
from dataclasses import dataclass, fields
from typing import Self

PROTOCOL_VERSION = 4
LINE_MAX = 200
"""Bytes of a line with its end: small enough for a microcontroller's buffer and for 18 ms of a UART."""

SUM_LENGTH = 9
"""Bytes of the star and the eight hex digits."""

CLOCK_SPAN = 1 << 30
"""µs after which the firmware's clock starts anew: what fits a small integer there."""

VERBS: dict[str, int | None] = {
    "hello": 2,
    "beat": 0,
    "set": None,
    "settings": 0,
    "show": 1,
    "rate": 1,
    "sense": 0,
    "record": 1,
    "samples": 1,
    "arm": 1,
    "disarm": 0,
    "lead": 2,
    "reset": 0,
    "maintain": 0,
    "home": 2,
    "plan": 4,
    "piece": 6,
    "bound": 1,
    "go": 2,
    "turn": 4,
    "jog": 3,
}
"""The verbs of requests, and how many fields each takes; None is any number."""

REASONS = (
    *("hello", "verb", "fields", "range", "stale", "order", "late", "disarmed", "armed", "fault", "homeless"),
    *("busy", "unset", "stopped", "join", "rest", "travel", "full", "protocol", "led", "pulseless"),
)
STATES = ("disarmed", "ready", "moving", "homing", "turning", "jogging", "stopping", "faulted")
ENDINGS = ("none", "done", "replaced", "stopped", "faulted")
CAUSES = (
    *("overload", "stalled", "wrong-direction", "sensor-error", "following-error", "travel", "host-silent"),
    *("supply-low", "too-hot", "home-not-found", "overrun"),
)
EVENTS = ("boot", "fault", "ended", "audit", "silent", "lead")
SOURCES = ("host", "pulse")

Field = int | str


def wrapped(difference: int) -> int:
    """The signed difference of two firmware times, within half the span of its clock."""
    return (difference + CLOCK_SPAN // 2) % CLOCK_SPAN - CLOCK_SPAN // 2


def seal(body: str) -> bytes:
    """The line of a body: body, star, CRC-32/ISO-HDLC in lower-case hex, end. Raises ValueError if it cannot be one."""
    raw = body.encode("ascii")
    if len(raw) + SUM_LENGTH + 1 > LINE_MAX:
        raise ValueError(f"a line of {len(raw)} bytes is longer than the link allows")
    if not _printable(raw):
        raise ValueError("only printable characters may go over the link")
    return raw + b"*%08x\n" % binascii.crc32(raw)


def unseal(line: bytes) -> str | None:
    """The body of a line without its end, or None if its sum or its characters are wrong."""
    body, star, check = line[:-SUM_LENGTH], line[-SUM_LENGTH:-8], line[-8:]
    if star != b"*" or not _printable(body) or check != b"%08x" % binascii.crc32(body):
        return None
    return body.decode("ascii")


def _printable(raw: bytes) -> bool:
    return all(0x20 <= byte <= 0x7E for byte in raw)


class LineReader:
    """Turns bytes as they come into bodies; whatever is too long or fails its check is dropped and counted."""

    def __init__(self) -> None:
        self.dropped = 0
        self._part = bytearray()
        self._skipping = False

    def feed(self, data: bytes) -> list[str]:
        """Bodies of the good lines that these bytes complete."""
        bodies = []
        *ended, rest = data.split(b"\n")
        for piece in ended:
            body = self._end(piece)
            if body is not None:
                bodies.append(body)
        self._add(rest)
        return bodies

    def forget(self) -> None:
        """Throw away the beginning of a line: the rest of it will never come."""
        self._part.clear()
        self._skipping = False

    def _add(self, piece: bytes) -> None:
        self._part += piece
        if len(self._part) >= LINE_MAX:
            self._skipping = True
            self._part.clear()

    def _end(self, piece: bytes) -> str | None:
        self._add(piece)
        line, skipped = bytes(self._part), self._skipping
        self.forget()
        body = None if skipped else unseal(line)
        if body is None:
            self.dropped += 1
        return body


@dataclass(frozen=True, slots=True)
class RequestLine:
    """A request: id, verb, fields."""

    id: int
    verb: str
    fields: tuple[Field, ...] = ()

    def to_body(self) -> str:
        """As it goes over the link. Raises ValueError for a verb that the link does not know, or other than its fields."""
        if VERBS.get(self.verb, -1) not in (None, len(self.fields)):
            raise ValueError(f"the link has no request {self.verb!r} with {len(self.fields)} fields")
        return joined((self.id, self.verb, *self.fields))


@dataclass(frozen=True, slots=True)
class Reply:
    """A reply: the id of its request, and either fields or the reason of a refusal with a detail."""

    id: int
    ok: bool
    fields: tuple[str, ...] = ()
    reason: str = ""
    detail: str = ""

    @classmethod
    def from_body(cls, body: str) -> Self | None:
        """Parse; None if it is no reply."""
        number, _, rest = body.partition(" ")
        kind, _, tail = rest.partition(" ")
        if not _whole(number) or kind not in ("ok", "no"):
            return None
        if kind == "ok":
            return cls(int(number), ok=True, fields=tuple(tail.split(" ")) if tail else ())
        reason, _, detail = tail.partition(" ")
        return cls(int(number), ok=False, reason=reason, detail=detail) if reason in REASONS else None

    def to_body(self) -> str:
        """As the firmware writes it."""
        if self.ok:
            return joined((self.id, "ok", *self.fields))
        return joined(part for part in (self.id, "no", self.reason, self.detail) if part != "")


@dataclass(frozen=True, slots=True)
class Hello:
    """What the reply to `hello` says."""

    token: str
    protocol: int
    version: str
    board: str
    boot: str
    homed: bool
    known: int
    cause: str
    settings: str
    caps: tuple[str, ...] = ()

    @classmethod
    def from_fields(cls, given: tuple[str, ...]) -> Self | None:
        """Parse; None if it does not make sense."""
        if len(given) < 9 or not (_whole(given[1]) and given[5] in ("0", "1") and _whole(given[6])):
            return None
        caps = tuple(given[9].split(",")) if len(given) > 9 else ()
        token, protocol, version, board, boot, homed, known, cause, settings = given[:9]
        return cls(token, int(protocol), version, board, boot, homed == "1", int(known), cause, settings, caps)


@dataclass(frozen=True, slots=True)
class Telemetry:
    """One line of telemetry, in the units and the order of PROTOCOL.md."""

    t: int
    state: str
    homed: int
    count: int
    reference: int
    speed: int
    duty: int
    current: int
    load: int
    supply: int
    winding: int
    motion: int
    ended: int
    how: str
    fault: str
    number: int
    peak: int
    origin: int
    illegal: int
    marks: int
    source: str
    pulse: int
    eased: int

    @classmethod
    def from_body(cls, body: str) -> Self | None:
        """Parse; None if it is no telemetry, or says what cannot be."""
        parts = body.split(" ")
        if parts[0] != "~" or len(parts) != len(_TELEMETRY) + 1:
            return None
        values: list[Field] = []
        for (_, is_word), part in zip(_TELEMETRY, parts[1:], strict=True):
            if not is_word and not _whole(part):
                return None
            values.append(part if is_word else int(part))
        row = cls(*values)  # type: ignore[arg-type]  # the loop above has given each its type
        known = row.state in STATES and row.how in ENDINGS and (row.fault in CAUSES or row.fault == "none")
        known = known and row.source in SOURCES
        return row if known and row.homed in (0, 1) and 0 <= row.t < CLOCK_SPAN else None

    def to_body(self) -> str:
        """As the firmware writes it."""
        return joined(("~", *(getattr(self, name) for name, _ in _TELEMETRY)))


_TELEMETRY = tuple((field.name, field.type == "str") for field in fields(Telemetry))


@dataclass(frozen=True, slots=True)
class FirmwareEvent:
    """An event: when, what, and its fields."""

    t: int
    name: str
    fields: tuple[str, ...] = ()

    @classmethod
    def from_body(cls, body: str) -> Self | None:
        """Parse; None if it is no event."""
        parts = body.split(" ")
        if len(parts) < 3 or parts[0] != "!" or not _whole(parts[1]) or parts[2] not in EVENTS:
            return None
        return cls(int(parts[1]), parts[2], tuple(parts[3:]))

    def to_body(self) -> str:
        """As the firmware writes it."""
        return joined(("!", self.t, self.name, *self.fields))


def joined(parts: Iterable[Field]) -> str:
    """Fields parted by single spaces."""
    return " ".join(map(str, parts))


def _whole(text: str) -> bool:
    digits = text.removeprefix("-")
    return digits.isascii() and digits.isdigit() and len(digits) <= 20
