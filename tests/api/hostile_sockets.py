"""Clients that mean no good, each a plain TCP connection: silent, slow, flooding, half-open, oversized."""

from __future__ import annotations

import base64
import contextlib
import json
import os
import random
import selectors
import socket
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

Address = tuple[str, int]

FLOOD_EVERY_S = 0.02
"""s between the messages of one flooding socket: forty of them send two thousand a second."""

TRICKLE_EVERY_S = 0.5
OVERSIZED_BYTES = 1_000_000
RESET = bytes([1, 0, 0, 0, 0, 0, 0, 0])
"""SO_LINGER on, 0 s: the connection is gone without a word, as with a phone out of reach."""


def handshake(address: Address) -> bytes:
    """The request that opens a live socket (RFC 6455 section 4.1)."""
    key = base64.b64encode(os.urandom(16)).decode()
    return (
        f"GET /api/v1/live HTTP/1.1\r\nHost: {address[0]}:{address[1]}\r\nUpgrade: websocket\r\nConnection: Upgrade\r\n"
        f"Sec-WebSocket-Key: {key}\r\nSec-WebSocket-Version: 13\r\n\r\n"
    ).encode()


def frame(message: dict[str, Any] | bytes) -> bytes:
    """A masked text frame (RFC 6455 section 5.2)."""
    data = message if isinstance(message, bytes) else json.dumps(message).encode()
    mask = os.urandom(4)
    if len(data) < 126:
        length = bytes([0x80 | len(data)])
    elif len(data) < 65536:
        length = bytes([0x80 | 126]) + len(data).to_bytes(2, "big")
    else:
        length = bytes([0x80 | 127]) + len(data).to_bytes(8, "big")
    return bytes([0x81]) + length + mask + bytes(byte ^ mask[index % 4] for index, byte in enumerate(data))


@dataclass
class Hostile:
    """One of them: what it says at once, what it goes on saying, and whether it ever listens."""

    kind: str
    opening: bytes
    goes_on: Callable[[random.Random], bytes] | None = None
    every_s: float = 1.0
    listens: bool = False
    connection: socket.socket | None = None
    due: float = 0.0
    unsent: bytes = b""


def kinds(address: Address) -> list[Callable[[], Hostile]]:
    """One maker for each kind."""
    subscribe = frame({"type": "subscribe", "servo": "vent", "rate_hz": 50})
    huge = frame(b'{"type": "hello", "client": "' + b"x" * OVERSIZED_BYTES + b'"}')
    return [
        lambda: Hostile("silent", b""),
        lambda: Hostile(
            "slow", b"GET /api/v1/live HTTP/1.1\r\n", lambda dice: bytes([dice.randrange(97, 122)]), TRICKLE_EVERY_S
        ),
        lambda: Hostile(
            "flooding", handshake(address), lambda dice: frame(nonsense(dice)), FLOOD_EVERY_S, listens=True
        ),
        lambda: Hostile("half-open", handshake(address) + subscribe),
        lambda: Hostile("oversized", handshake(address) + huge, lambda _: huge, 1.0, listens=True),
    ]


def nonsense(dice: random.Random) -> dict[str, Any]:
    """A message that makes no sense, or asks for what is not there."""
    return dice.choice(
        [
            {"type": "jog", "servo": "nobody", "speed_deg_s": dice.uniform(-9, 9)},
            {"type": "subscribe", "servo": "nobody"},
            {"type": "hello", "client": "x" * dice.randrange(200)},
            {"type": dice.randrange(10)},
        ]
    )


def attack(address: Address, number: int, stop: Callable[[], bool], seed: int = 1) -> None:
    """So many of them at once, of all kinds alike; whoever is thrown out comes again."""
    dice = random.Random(seed)
    makers = kinds(address)
    hostiles = [makers[index % len(makers)]() for index in range(number)]
    with selectors.DefaultSelector() as selector:
        while not stop():
            now = time.monotonic()
            for one in hostiles:
                if now >= one.due:
                    _act(one, address, selector, dice, now)
            for key, _ in selector.select(0.005):
                _listen(key.data, selector)
        for one in hostiles:
            _drop(one, selector)


def _act(one: Hostile, address: Address, selector: selectors.BaseSelector, dice: random.Random, now: float) -> None:
    one.due = now + one.every_s * dice.uniform(0.8, 1.2)
    try:
        if one.connection is None:
            one.connection = socket.create_connection(address, timeout=1.0)
            one.connection.setblocking(False)
            one.unsent = one.opening
            if one.listens:
                selector.register(one.connection, selectors.EVENT_READ, one)
        elif one.goes_on is not None and not one.unsent:
            one.unsent = one.goes_on(dice)
        if one.unsent:
            one.unsent = one.unsent[one.connection.send(one.unsent) :]
    except BlockingIOError:
        pass
    except OSError:
        _drop(one, selector)


def _listen(one: Hostile, selector: selectors.BaseSelector) -> None:
    assert one.connection is not None
    with contextlib.suppress(OSError):
        if one.connection.recv(65536):
            return
    _drop(one, selector)


def _drop(one: Hostile, selector: selectors.BaseSelector) -> None:
    if one.connection is not None:
        if one.listens:
            selector.unregister(one.connection)
        with contextlib.suppress(OSError):
            one.connection.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, RESET)
        one.connection.close()
        one.connection = None
