"""A board for link tests: the firmware's own core with nothing turning, and a line of fixed delay to an exchange."""

from __future__ import annotations

import random
from collections.abc import Callable
from itertools import pairwise

from geartender.firmware.core import Core
from geartender.firmware.settings import ALL
from geartender.firmware.tick import COUNT_IN, SUPPLY_IN, TICK_US
from geartender.link.events import Event, Request
from geartender.link.exchange import Exchange
from geartender.link.lines import Telemetry

TICK_S = TICK_US / 1e6


def any_settings() -> list[str]:
    """A value for every setting, just so that the board can be armed."""
    wanted = {"ramp_accel": 1000, "stop_accel": 1000, "nominal_mv": 12000, "max_duty": 10000, "silence_ms": 250}
    wanted |= {"pulse_mid_us": 1500, "pulse_max_us": 2000}
    return [f"{name}={wanted.get(name, 1 if low == -1 else max(low, min(high, 1000)))}" for name, low, high in ALL]


class Board:
    """The core, ticking as time is handed in, `skew` being how much faster its crystal runs."""

    def __init__(self, boot: str = "b1", skew: float = 0.0) -> None:
        self.core = Core("board-1", boot)
        self.core.state[COUNT_IN] = 0
        self.core.state[SUPPLY_IN] = 12_000
        self.ticks = 0
        self.skew = skew

    def run_to(self, now: float) -> bytes:
        """Tick up to that time and give what the board wrote."""
        out = b""
        while (self.ticks + 1) * TICK_S <= now * (1 + self.skew):
            self.ticks += 1
            self.core.tick()
            out += self.core.step()
        return out + self.core.step()


Carrier = Callable[[bytes, float, str], list[tuple[float, bytes]]]


def plain_line(delay: float = 0.002) -> Carrier:
    """A line that carries everything after a fixed delay."""

    def carry(data: bytes, now: float, way: str) -> list[tuple[float, bytes]]:
        return [(now + delay, data)] if data else []

    return carry


class Talk:
    """An exchange and a board, talking over a line in steps of 1 ms of made-up time."""

    STEP_S = 0.001

    def __init__(self, carry: Carrier | None = None, seed: int = 1, board: Board | None = None) -> None:
        self.exchange = Exchange(random.Random(seed))
        self.board = board or Board()
        self.carry = carry or plain_line()
        self.now = 0.0
        self.events: list[Event] = []
        self.log: list[tuple[float, str, bytes]] = []
        self._air: list[tuple[float, int, str, bytes]] = []
        self._order = 0

    def connect(self) -> None:
        self.exchange.connect(self.now)

    def open(self) -> None:
        """Connect, ask for telemetry and run until the clocks are matched."""
        self.connect()
        self.run_until(lambda: self.exchange.phase == "open", 2.0)
        self.ask("rate", 20)
        self.run_until(lambda: self.exchange.clock.known, 2.0)

    def ask(self, verb: str, *fields: int | str, give_up_after_s: float = 2.0) -> Request:
        return self.exchange.request(verb, fields, self.now, give_up_after_s)

    def run(self, seconds: float) -> None:
        end = self.now + seconds
        while self.now < end:
            self.step()

    def run_until(self, condition: Callable[[], bool], at_most: float) -> None:
        end = self.now + at_most
        while not condition():
            assert self.now < end, "it did not come about in time"
            self.step()

    def step(self) -> None:
        self.now = round(self.now + self.STEP_S, 6)
        self._send(self.board.run_to(self.now), "up")
        self._send(self.exchange.data_to_send(self.now), "down")
        due = sorted(item for item in self._air if item[0] <= self.now)
        self._air = [item for item in self._air if item[0] > self.now]
        for _, _, way, data in due:
            self.log.append((self.now, way, data))
            if way == "up":
                self.exchange.receive(data, self.now)
            else:
                self.board.core.receive(data)
        self.events += self.exchange.events()

    def _send(self, data: bytes, way: str) -> None:
        for at, piece in self.carry(data, self.now, way):
            self._order += 1
            self._air.append((at, self._order, way, piece))

    @property
    def telemetry(self) -> list[Telemetry]:
        return [event for event in self.events if isinstance(event, Telemetry)]

    def rising(self) -> bool:
        """Whether telemetry came out in the order of its own times."""
        return all(one.t < two.t for one, two in pairwise(self.telemetry))
