"""Where slow work is done: one thread with a queue, or, in a world on virtual time, at once.

Jobs run one after the other in the order in which they were handed in, and never on the event loop's thread, so that a
memory card that takes seconds over a write holds up neither a stop nor the beat that the firmware waits for.
"""

from __future__ import annotations

import asyncio
import functools
import logging
import queue
import threading
from collections.abc import Callable
from typing import Protocol, TypeVar

log = logging.getLogger(__name__)
T = TypeVar("T")

CLOSE_WAIT_S = 10.0
"""s that what was handed in already gets at the end; the longest stall of a worn memory card, and some."""


class Worker(Protocol):
    """Does jobs one after the other, in the order in which they were handed in."""

    def submit(self, job: Callable[[], T]) -> asyncio.Future[T]:
        """Hand a job in; the future brings what it returns or raises. Cancelling the future does not undo the job."""
        ...

    async def close(self) -> None:
        """Let what was handed in come to its end, then take nothing more. May be called again."""
        ...


class InlineWorker:
    """Does each job at once, on the spot."""

    def submit(self, job: Callable[[], T]) -> asyncio.Future[T]:
        """Do it now."""
        future: asyncio.Future[T] = asyncio.get_running_loop().create_future()
        _settle(future, job)
        return future

    async def close(self) -> None:
        """Nothing waits."""


class ThreadWorker:
    """Does jobs on a thread of its own, which starts with the first one."""

    def __init__(self, name: str) -> None:
        self._name = name
        self._jobs: queue.SimpleQueue[Callable[[], None] | None] = queue.SimpleQueue()
        self._thread: threading.Thread | None = None
        self._closed = False

    def submit(self, job: Callable[[], T]) -> asyncio.Future[T]:
        """Hand it to the thread. Raises RuntimeError after `close`."""
        if self._closed:
            raise RuntimeError(f"the worker {self._name} is closed")
        loop = asyncio.get_running_loop()
        future: asyncio.Future[T] = loop.create_future()
        self._jobs.put(lambda: self._do(loop, future, job))
        if self._thread is None:
            self._thread = threading.Thread(target=self._work, name=self._name, daemon=True)
            self._thread.start()
        return future

    async def close(self) -> None:
        """Wait for what was handed in; a thread that does not come back in time is left behind and dies with the process."""
        if self._closed:
            return
        self._closed = True
        self._jobs.put(None)
        if self._thread is not None:
            await asyncio.get_running_loop().run_in_executor(None, self._thread.join, CLOSE_WAIT_S)
            if self._thread.is_alive():
                log.error("%s: the disk has not answered for %.0f s; what waited is lost", self._name, CLOSE_WAIT_S)

    def _work(self) -> None:
        while (job := self._jobs.get()) is not None:
            job()

    @staticmethod
    def _do(loop: asyncio.AbstractEventLoop, future: asyncio.Future[T], job: Callable[[], T]) -> None:
        """Do a job here, and settle its future on the loop's thread."""
        try:
            result = job()
        except BaseException as error:  # noqa: BLE001 - handed on to whoever waits
            settle = functools.partial(_fail, future, error)
        else:
            settle = functools.partial(_succeed, future, result)
        try:
            loop.call_soon_threadsafe(settle)
        except RuntimeError:
            log.warning("a job ended after the event loop had")


def _succeed(future: asyncio.Future[T], result: T) -> None:
    if not future.cancelled():
        future.set_result(result)


def _fail(future: asyncio.Future[T], error: BaseException) -> None:
    if not future.cancelled():
        future.set_exception(error)


def _settle(future: asyncio.Future[T], job: Callable[[], T]) -> None:
    try:
        future.set_result(job())
    except Exception as error:  # noqa: BLE001 - handed on to whoever waits
        future.set_exception(error)
