"""The serial port on a pseudo-terminal, which behaves at an unplug as a real one does."""

from __future__ import annotations

import asyncio
import contextlib
import os
import tty
from collections.abc import Iterator

import pytest

from geartender.errors import PortError
from geartender.link.port import SerialOpener

PATIENCE_S = 5.0
"""s until a test that waits for an event gives up."""


class Ear:
    """Hears what a port tells."""

    def __init__(self) -> None:
        self.heard = b""
        self.lost: list[str] = []
        self.changed = asyncio.Event()

    def on_bytes(self, data: bytes) -> None:
        self.heard += data
        self.changed.set()

    def on_lost(self, reason: str) -> None:
        self.lost.append(reason)
        self.changed.set()

    async def wait(self) -> None:
        async with asyncio.timeout(PATIENCE_S):
            await self.changed.wait()
        self.changed.clear()


@contextlib.contextmanager
def terminal() -> Iterator[tuple[int, str]]:
    """A pseudo-terminal: the far end, and the path of the near one."""
    far, near = os.openpty()
    tty.setraw(near)
    path = os.ttyname(near)
    os.close(near)
    try:
        yield far, path
    finally:
        with contextlib.suppress(OSError):
            os.close(far)


def test_bytes_go_both_ways_and_a_write_is_with_the_system_when_it_returns() -> None:
    async def main() -> None:
        with terminal() as (far, path):
            ear = Ear()
            port = await SerialOpener(path).open(ear)
            port.write(b"stop 0 1\n")
            os.set_blocking(far, False)
            assert os.read(far, 100) == b"stop 0 1\n"
            os.write(far, b"hello\n")
            while ear.heard != b"hello\n":
                await ear.wait()
            port.close()
            port.close()
            port.write(b"too late")
            assert ear.lost == []

    asyncio.run(main())


def test_a_pulled_cable_is_told_once() -> None:
    async def main() -> None:
        with terminal() as (far, path):
            ear = Ear()
            port = await SerialOpener(path).open(ear)
            os.close(far)
            await ear.wait()
            assert len(ear.lost) == 1
            port.write(b"nobody hears")
            port.close()

    asyncio.run(main())


def test_a_port_that_is_not_there_or_in_use_is_a_port_error_with_its_name() -> None:
    async def main() -> None:
        with pytest.raises(PortError, match="no-such-port"):
            await SerialOpener("/dev/no-such-port").open(Ear())
        with terminal() as (_, path):
            port = await SerialOpener(path).open(Ear())
            with pytest.raises(PortError):
                await SerialOpener(path).open(Ear())
            port.close()
            await asyncio.sleep(0)

    asyncio.run(main())


def test_a_peer_that_does_not_read_cannot_hold_up_the_close() -> None:
    async def main() -> None:
        with terminal() as (_, path):
            ear = Ear()
            port = await SerialOpener(path).open(ear)
            for _ in range(2000):
                port.write(b"x" * 100)
            async with asyncio.timeout(PATIENCE_S):
                port.close()
                for _ in range(5):
                    await asyncio.sleep(0)
            assert ear.lost == []

    asyncio.run(main())
