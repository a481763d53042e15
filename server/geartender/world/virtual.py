"""A world of its own: an event loop on virtual time, a wall clock that follows it, and seeded chance.

An hour's sleep is over at once, and the same seed gives the same run. It breaks with threads, real sockets and real
ports, so nothing in such a world may use them.
"""

from __future__ import annotations

import asyncio
import contextlib
import random
import selectors
from collections.abc import Awaitable, Callable, Iterator, Mapping
from datetime import UTC, datetime, timedelta
from typing import TypeVar

from geartender.errors import GeartenderError
from geartender.link.port import Opener
from geartender.world import World, running_loop_time
from geartender.world.worker import InlineWorker

T = TypeVar("T")

EPOCH = datetime(2031, 3, 1, 6, 0, tzinfo=UTC)
"""The wall clock when virtual time is 0: any morning would do, but it must be the same in every run."""


class Deadlock(GeartenderError):
    """Everything in the virtual world waits for something that will never come."""


class _Hourglass(selectors.SelectSelector):
    """A selector that never waits: when nothing is ready it turns the time on to the next timer instead."""

    def __init__(self) -> None:
        super().__init__()
        self.now = 0.0

    def select(self, timeout: float | None = None) -> list[tuple[selectors.SelectorKey, int]]:
        ready = super().select(0)
        if not ready:
            if timeout is None:
                raise Deadlock("nothing is ready and no timer runs: the virtual world would wait for ever")
            self.now += max(0.0, timeout)
        return ready


class VirtualLoop(asyncio.SelectorEventLoop):
    """An event loop whose clock stands still while code runs and jumps from timer to timer."""

    def __init__(self) -> None:
        self._hourglass = _Hourglass()
        super().__init__(self._hourglass)
        self._clock_resolution = 1e-9

    def time(self) -> float:
        """Virtual seconds since the loop was made."""
        return self._hourglass.now


def no_ports(name: str) -> Opener:
    """Refuse every port: a virtual world has only those that its maker put into it."""
    raise LookupError(f"this virtual world has no port {name!r}")


def virtual_world(seed: int, opener: Callable[[str], Opener] = no_ports) -> World:
    """A world for the running virtual loop: its wall clock is `EPOCH` plus the loop's time."""
    return World(
        random=random.Random(seed),
        secret_bytes=random.Random(seed + 1).randbytes,
        monotonic=running_loop_time,
        wall=lambda: EPOCH + timedelta(seconds=running_loop_time()),
        opener=opener,
        worker=lambda _: InlineWorker(),
        clock_right=lambda: True,
        host_name=lambda: "shed",
        address=lambda: "192.168.1.20",
        post=nobody,
    )


async def nobody(url: str, body: bytes, headers: Mapping[str, str]) -> int:  # noqa: ARG001 - a World's post
    """Refuse every POST: there is nobody outside of a virtual world."""
    raise OSError(f"this virtual world has no {url}")


@contextlib.contextmanager
def _loop() -> Iterator[VirtualLoop]:
    loop = VirtualLoop()
    try:
        yield loop
    finally:
        tasks = asyncio.all_tasks(loop)
        for task in tasks:
            task.cancel()
        if tasks:
            loop.run_until_complete(asyncio.gather(*tasks, return_exceptions=True))
        loop.close()


def run_virtual(main: Callable[[World], Awaitable[T]], seed: int = 0, opener: Callable[[str], Opener] = no_ports) -> T:
    """Run `main(world)` to its end on a virtual loop of its own and give back what it returns.

    Raises Deadlock when everything waits for what cannot come, and whatever `main` raises.
    """

    async def start() -> T:
        return await main(virtual_world(seed, opener))

    with _loop() as loop:
        return loop.run_until_complete(start())
