"""Connections that keep the service waiting, on virtual time."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable
from typing import Any

import uvicorn
from uvicorn.server import ServerState

from geartender.api.patience import BODY_GAP_S, HEAD_WITHIN_S, PatientProtocol
from geartender.world import World
from geartender.world.virtual import run_virtual

HEAD = b"POST / HTTP/1.1\r\nHost: here\r\n"


async def answers(
    scope: dict[str, Any], receive: Callable[[], Awaitable[Any]], send: Callable[[Any], Awaitable[None]]
) -> None:
    """Reads the whole body, then answers."""
    while (message := await receive()).get("more_body"):
        pass
    if message["type"] == "http.request":
        await send({"type": "http.response.start", "status": 204, "headers": []})
        await send({"type": "http.response.body", "body": b""})


class Wire(asyncio.Transport):
    """A client's end: what was written, and whether the connection is still open."""

    def __init__(self) -> None:
        super().__init__()
        self.open = True
        self.written = b""
        self.protocol = PatientProtocol(
            uvicorn.Config(answers, lifespan="off", ws="none", log_config=None), ServerState(), {}
        )
        self.protocol.connection_made(self)

    def say(self, data: bytes) -> None:
        self.protocol.data_received(data)

    def get_protocol(self) -> asyncio.BaseProtocol:
        return self.protocol

    def write(self, data: bytes | bytearray | memoryview) -> None:
        self.written += bytes(data)

    def close(self) -> None:
        if self.open:
            self.open = False
            self.protocol.connection_lost(None)

    def is_closing(self) -> bool:
        return not self.open

    def pause_reading(self) -> None: ...

    def resume_reading(self) -> None: ...


def on_a_wire(scenario: Callable[[Wire], Awaitable[None]]) -> None:
    async def main(_: World) -> None:
        await scenario(Wire())

    run_virtual(main)


def test_a_connection_that_says_nothing_is_closed() -> None:
    async def scenario(wire: Wire) -> None:
        await asyncio.sleep(HEAD_WITHIN_S - 0.1)
        assert wire.open
        await asyncio.sleep(0.2)
        assert not wire.open

    on_a_wire(scenario)


def test_a_head_that_trickles_in_is_not_waited_for() -> None:
    async def scenario(wire: Wire) -> None:
        for byte in HEAD:
            wire.say(bytes([byte]))
            await asyncio.sleep(1.0)
            if not wire.open:
                break
        assert not wire.open
        assert wire.written == b""

    on_a_wire(scenario)


def test_a_body_may_take_long_but_not_pause_for_long() -> None:
    async def scenario(wire: Wire) -> None:
        wire.say(HEAD + b"Content-Length: 9\r\n\r\n")
        for _ in range(8):
            await asyncio.sleep(BODY_GAP_S - 0.1)
            wire.say(b"x")
        assert wire.open
        await asyncio.sleep(BODY_GAP_S + 0.1)
        assert not wire.open

    on_a_wire(scenario)


def test_who_speaks_in_time_is_answered_time_and_again() -> None:
    async def scenario(wire: Wire) -> None:
        for number in range(1, 5):
            await asyncio.sleep(4.0)
            wire.say(HEAD + b"Content-Length: 2\r\n\r\nxx")
            await asyncio.sleep(0.1)
            assert wire.open
            assert wire.written.count(b"HTTP/1.1 204") == number

    on_a_wire(scenario)


def test_the_head_of_a_second_request_is_not_waited_for_either() -> None:
    async def scenario(wire: Wire) -> None:
        wire.say(HEAD + b"Content-Length: 0\r\n\r\n")
        await asyncio.sleep(1.0)
        wire.say(b"POST / HT")
        await asyncio.sleep(HEAD_WITHIN_S + 0.1)
        assert not wire.open

    on_a_wire(scenario)
