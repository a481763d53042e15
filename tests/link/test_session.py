"""The shell around the exchange: opening, losing, greeting again, and nothing that waits for ever."""

from __future__ import annotations

import asyncio
import contextlib
from itertools import pairwise

import pytest

from geartender.errors import GaveUp, PortError, QueueFull
from geartender.link.events import Closed, Event, Opened
from geartender.link.port import Port, PortEvents
from geartender.link.session import GREETING_MAX_S, Link
from geartender.world import World
from geartender.world.virtual import run_virtual
from tests.link.board import TICK_S, Board


class Owner:
    def __init__(self) -> None:
        self.events: list[Event] = []

    def on_link_event(self, event: Event) -> None:
        self.events.append(event)

    def count(self, kind: type) -> int:
        return sum(isinstance(event, kind) for event in self.events)


class BoardPort:
    """An opener that leads to a board on the running loop; `mute` boards never answer."""

    def __init__(self, board: Board | None) -> None:
        self.board = board
        self.opened: list[float] = []
        self.broken = False
        self._events: PortEvents | None = None
        self._ticking: asyncio.TimerHandle | None = None

    async def open(self, events: PortEvents) -> Port:
        self.opened.append(asyncio.get_running_loop().time())
        if self.broken:
            raise PortError("no such port")
        self._events = events
        self._tick()
        return self

    def _tick(self) -> None:
        loop = asyncio.get_running_loop()
        if self.board is not None:
            out = self.board.run_to(loop.time())
            if out and self._events is not None:
                self._events.on_bytes(out)
        self._ticking = loop.call_later(TICK_S, self._tick)

    def write(self, data: bytes) -> None:
        if self.board is not None:
            self.board.core.receive(data)

    def close(self) -> None:
        self._events = None
        if self._ticking is not None:
            self._ticking.cancel()

    def lose(self) -> None:
        events = self._events
        self.close()
        assert events is not None
        events.on_lost("cable out")


@contextlib.asynccontextmanager
async def linked(world: World, port: BoardPort):  # type: ignore[no-untyped-def]  # pytest reads it, mypy does not
    owner = Owner()
    link = Link("bench", port, owner, world.random, world.monotonic)
    task = asyncio.create_task(link.run())
    try:
        yield link, owner
    finally:
        task.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await task


def test_it_connects_answers_and_reconnects_by_itself() -> None:
    async def main(world: World) -> None:
        port = BoardPort(Board())
        async with linked(world, port) as (link, owner):
            await asyncio.sleep(0.1)
            assert link.open
            reply = await link.request("rate", 20, give_up_after_s=1)
            assert reply.ok
            waiting = link.request("settings", give_up_after_s=1)
            port.lose()
            with pytest.raises(GaveUp):
                await waiting
            with pytest.raises(QueueFull):
                link.request("settings", give_up_after_s=1)
            await asyncio.sleep(0.5)
            assert link.open
            assert (link.reconnects, owner.count(Opened), owner.count(Closed)) == (1, 2, 1)

    run_virtual(main)


def test_a_missing_port_is_told_and_tried_quickly_at_first_then_rarely() -> None:
    async def main(world: World) -> None:
        port = BoardPort(Board())
        port.broken = True
        async with linked(world, port) as (link, owner):
            await asyncio.sleep(60)
            assert not link.open
            early = [at for at in port.opened if at < 10]
            assert max(two - one for one, two in pairwise(early)) <= 0.5
            assert 5 <= len([at for at in port.opened if at >= 12]) <= 14
            assert owner.count(Closed) == len(port.opened)
            port.broken = False
            await asyncio.sleep(6)
            assert link.open

    run_virtual(main)


def test_a_mute_board_is_greeted_and_its_port_opened_afresh() -> None:
    async def main(world: World) -> None:
        port = BoardPort(None)
        async with linked(world, port) as (link, _):
            await asyncio.sleep(3 * GREETING_MAX_S)
            assert not link.open
            assert 2 <= len(port.opened) <= 4

    run_virtual(main)


def test_silence_on_an_open_port_leads_to_a_new_greeting_on_the_same_port() -> None:
    async def main(world: World) -> None:
        port = BoardPort(Board())
        async with linked(world, port) as (link, owner):
            await asyncio.sleep(0.1)
            await link.request("rate", 20, give_up_after_s=1)
            board, port.board = port.board, None
            await asyncio.sleep(1.0)
            assert not link.open
            port.board = board
            await asyncio.sleep(1.0)
            assert link.open
            assert len(port.opened) == 1
            assert owner.count(Opened) == 2

    run_virtual(main)


def test_a_stop_is_with_the_port_when_the_call_returns() -> None:
    async def main(world: World) -> None:
        port = BoardPort(Board())
        written: list[bytes] = []
        inner = port.write
        port.write = lambda data: (written.append(data), inner(data))[1]  # type: ignore[method-assign, func-returns-value]
        async with linked(world, port) as (link, _):
            await asyncio.sleep(0.1)
            written.clear()
            number = link.stop(0)
            assert written
            assert written[0].startswith(b"stop 0 %d*" % number)

    run_virtual(main)
