"""A line that does everything a line can do wrong, in the words of IEC 61784-3, each alone or in pairs, by a seed.

It works on whole lines, both ways. What it inserts has a good sum: the sum is no protection against a line that is
well-formed but comes from elsewhere or from another time.
"""

from __future__ import annotations

import asyncio
import random
from collections.abc import Callable
from dataclasses import dataclass, field
from itertools import combinations

from geartender.link.lines import LINE_MAX, seal
from geartender.link.port import Opener, Port, PortEvents

ERRORS = (
    "corruption",
    "unintended repetition",
    "incorrect sequence",
    "loss",
    "unacceptable delay",
    "insertion",
    "masquerade",
    "addressing",
)
"""The communication errors of IEC 61784-3."""

MIXES: tuple[tuple[str, ...], ...] = (*((error,) for error in ERRORS), *combinations(ERRORS, 2))
"""Each alone, and each pair."""

RATE = 0.12
"""Share of the lines that something happens to."""

BASE_S = 0.001
"""s that every line takes."""

APART_S = 1e-6
"""s between two lines that follow each other."""

Delivery = tuple[float, bytes]
"""Seconds from now, and what arrives then."""


@dataclass
class HostileLine:
    """Carries lines, well or badly. `log` keeps everything delivered, so that two runs can be compared."""

    dice: random.Random
    errors: tuple[str, ...]
    rate: float = RATE
    hostile: bool = True
    log: list[tuple[float, str, bytes]] = field(default_factory=list)
    _past: dict[str, list[bytes]] = field(default_factory=lambda: {"up": [], "down": []})
    _parts: dict[str, bytes] = field(default_factory=lambda: {"up": b"", "down": b""})

    def carry(self, data: bytes, way: str) -> list[Delivery]:
        """What arrives of these bytes, and when; `way` is up (to the host) or down."""
        *lines, self._parts[way] = (self._parts[way] + data).split(b"\n")
        deliveries: list[Delivery] = []
        for line in lines:
            deliveries += self._line(line + b"\n", way)
        return deliveries

    def _line(self, line: bytes, way: str) -> list[Delivery]:
        past = self._past[way]
        past.append(line)
        del past[:-200]
        if not self.hostile or self.dice.random() > self.rate:
            return [(BASE_S, line)]
        return self._spoilt(self.dice.choice(self.errors), line, way)

    def _spoilt(self, error: str, line: bytes, way: str) -> list[Delivery]:
        dice, good = self.dice, (BASE_S, line)
        match error:
            case "corruption":
                return [(BASE_S, _corrupted(line, dice))]
            case "unintended repetition":
                return [good, *((dice.uniform(0.0, 0.5), line) for _ in range(dice.randint(1, 3)))]
            case "incorrect sequence":
                return [(dice.uniform(0.005, 0.06), line)]
            case "loss":
                return []
            case "unacceptable delay":
                return [(dice.uniform(0.3, 2.0), line)]
            case "insertion":
                return [good, (BASE_S, _inserted(dice))]
            case "masquerade":
                return [good, (BASE_S, dice.choice(self._past[way]))]
            case "addressing":
                other = "down" if way == "up" else "up"
                return [good, (BASE_S, dice.choice(self._past[other] or [line]))]
        raise AssertionError(error)


def _corrupted(line: bytes, dice: random.Random) -> bytes:
    spoilt = bytearray(line)
    for _ in range(dice.randint(1, 4)):
        kind, place = dice.randrange(3), dice.randrange(len(spoilt))
        if kind == 0:
            spoilt[place] ^= 1 << dice.randrange(8)
        elif kind == 1 and len(spoilt) > 1:
            del spoilt[place]
        else:
            spoilt.insert(place, dice.randrange(256))
    return bytes(spoilt)


def _inserted(dice: random.Random) -> bytes:
    """Noise, a line far too long, or a well-formed line that nobody of this conversation sent."""
    number, when, place = dice.randrange(1 << 30), dice.randrange(1 << 30), dice.randrange(-(1 << 28), 1 << 28)
    bodies = (
        f"{number} arm {when}",
        f"{number} home {dice.randrange(1, 1 << 30)} {when}",
        f"{number} jog {dice.randrange(1, 1 << 30)} {when} {place}",
        f"{number} go {dice.randrange(1, 1 << 30)} {when}",
        f"{number} ok",
        f"{number} no late",
        f"! {when} boot nobody",
        f"~ {when} moving 1 {place >> 16} {place} 0 100 50 10 12000 250 7 0 none none 3 9 0 0 0",
    )
    kind = dice.randrange(len(bodies) + 2)
    if kind < len(bodies):
        return seal(bodies[kind])
    if kind == len(bodies):
        return dice.randbytes(dice.randint(1, 80))
    return b"x" * (LINE_MAX * 3) + b"\n"


class HostilePort:
    """An opener whose ports lead over a hostile line to the ports of another opener."""

    def __init__(self, inner: Opener, line: HostileLine) -> None:
        self.line = line
        self._inner = inner

    async def open(self, events: PortEvents) -> Port:
        """Open the port behind the line."""
        wire = _Wire(self.line, events)
        wire.port = await self._inner.open(wire)
        return wire


class _Wire:
    """Both ends of one opening: a port for the host, and the events of the port behind."""

    port: Port

    def __init__(self, line: HostileLine, events: PortEvents) -> None:
        self._line = line
        self._events = events
        self._open = True
        self._last = {"up": 0.0, "down": 0.0}

    def write(self, data: bytes) -> None:
        self._send(data, "down", self.port.write)

    def on_bytes(self, data: bytes) -> None:
        self._send(data, "up", self._events.on_bytes)

    def on_lost(self, reason: str) -> None:
        self._open = False
        self._events.on_lost(reason)

    def close(self) -> None:
        self._open = False
        self.port.close()

    def _send(self, data: bytes, way: str, deliver: Callable[[bytes], None]) -> None:
        loop = asyncio.get_running_loop()

        def arrive(piece: bytes) -> None:
            if self._open:
                self._line.log.append((round(loop.time(), 6), way, piece))
                deliver(piece)

        for delay, piece in self._line.carry(data, way):
            at = loop.time() + delay
            if delay == BASE_S:  # a loop does not keep the order of timers for the same moment
                at = self._last[way] = max(at, self._last[way] + APART_S)
            loop.call_at(at, arrive, piece)
