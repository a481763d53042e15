"""The simulated servo as a child process of `demo`: started before the service, asked for the truth, ended with it."""

from __future__ import annotations

import asyncio
import json
import os
import subprocess
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any

from geartender.api.service import Truth
from geartender.errors import GeartenderError, Invalid, Offline

ANSWER_S = 1.0
"""s; the simulator answers within a tick of 2 ms, unless it is gone."""

END_S = 3.0
"""s that the simulator gets to end by itself once its input is closed."""


class SimulatorFailed(GeartenderError):
    """The simulator did not start; it has said why on stderr."""


class SimulatorChild:
    """Talks with the simulator over its standard input and output, a line each. One question at a time."""

    def __init__(self, process: subprocess.Popen[bytes]) -> None:
        self.process = process
        self._turn = asyncio.Lock()

    async def truth(self) -> Truth:
        """What the mechanics do now. Raises Offline."""
        answer: Truth = await self._ask("truth")
        return answer

    async def command(self, line: str) -> None:
        """Make trouble, or end it. Raises Invalid with what would have been right, Offline."""
        answer = await self._ask(line)
        if "error" in answer:
            raise Invalid(answer["error"])

    async def _ask(self, line: str) -> Any:
        assert self.process.stdin is not None  # noqa: S101 - started with pipes
        async with self._turn:
            try:
                self.process.stdin.write(line.encode() + b"\n")
                self.process.stdin.flush()
                async with asyncio.timeout(ANSWER_S):
                    answer = await self._line()
            except (OSError, TimeoutError) as error:
                raise Offline("The simulator does not answer. Start the demo again.") from error
        if not answer:
            raise Offline("The simulator has ended. Start the demo again.")
        return json.loads(answer)

    async def _line(self) -> bytes:
        """The next line of the simulator's output. The pipe is given back at once, so that no loop is left holding it."""
        assert self.process.stdout is not None  # noqa: S101 - started with pipes
        loop, reader = asyncio.get_running_loop(), asyncio.StreamReader()
        pipe = os.fdopen(os.dup(self.process.stdout.fileno()), "rb", buffering=0)
        transport, _ = await loop.connect_read_pipe(lambda: asyncio.StreamReaderProtocol(reader), pipe)
        try:
            return await reader.readline()
        finally:
            transport.close()


@contextmanager
def simulator(arguments: Sequence[str]) -> Iterator[SimulatorChild]:
    """A running simulator, ended at the end. Raises SimulatorFailed when it does not get ready."""
    command = [sys.executable, "-m", "geartender.simulator.process", *arguments]
    # Unbuffered, so that nothing behind the first line is swallowed before the event loop reads on. A session of its own: an
    # interrupt at the terminal must reach the service alone, which then ends the simulator.
    process = subprocess.Popen(  # noqa: S603 - our own module
        command, bufsize=0, stdin=subprocess.PIPE, stdout=subprocess.PIPE, start_new_session=True
    )
    try:
        assert process.stdout is not None  # noqa: S101 - started with pipes
        if not process.stdout.readline().startswith(b"ready "):
            raise SimulatorFailed("the simulator did not start")
        yield SimulatorChild(process)
    finally:
        _end(process)


def _end(process: subprocess.Popen[bytes]) -> None:
    """Close its input, which ends it; kill it when it does not."""
    for pipe in (process.stdin, process.stdout):
        if pipe is not None:
            pipe.close()
    try:
        process.wait(END_S)
    except subprocess.TimeoutExpired:
        process.kill()
        process.wait()
