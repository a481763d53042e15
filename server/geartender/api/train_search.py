"""One search for gear trains at a time, in a process that ends with whoever waits for it."""

from __future__ import annotations

import asyncio
import json
import sys
from collections.abc import AsyncGenerator
from typing import Any

from geartender.errors import Busy, GeartenderError, Invalid

SEARCH_S = 120.0
"""s that a search may take; a small computer needs some seconds for the usual ones."""

LINE_BYTES = 8 * 1024 * 1024
"""Bytes of an answer at most: a hundred trains, each as a whole sheet with a note as long as it may be, are under a megabyte."""

COMMAND = (sys.executable, "-m", "geartender.api.train_child")

Word = dict[str, Any]
"""What the search says: `progress` or `result`."""


class SearchFailed(GeartenderError):
    """The process of a search has ended without a result."""


class TrainSearch:
    """Searches one after the other; a second one is refused while the first runs."""

    def __init__(self) -> None:
        self._running = False

    async def words(self, build: dict[str, Any], request: dict[str, Any]) -> AsyncGenerator[Word]:
        """What a search says, up to its result. Closing this ends the search.

        Raises Busy, Invalid where it takes too long, SearchFailed.
        """
        if self._running:
            raise Busy("Another search for trains runs. Wait until it is done, and ask again.")
        self._running = True
        process = None
        try:
            process = await asyncio.create_subprocess_exec(
                *COMMAND, stdin=asyncio.subprocess.PIPE, stdout=asyncio.subprocess.PIPE, limit=LINE_BYTES
            )
            assert process.stdin is not None  # noqa: S101 - started with pipes
            assert process.stdout is not None  # noqa: S101 - as above
            process.stdin.write(json.dumps({"build": build, "request": request}).encode())
            process.stdin.close()
            async with asyncio.timeout(SEARCH_S):
                async for line in process.stdout:
                    yield json.loads(line)
        except TimeoutError:
            raise Invalid(
                f"The search takes longer than {SEARCH_S:.0f} s. Ask for fewer meshes, fewer modules or a smaller range of teeth."
            ) from None
        finally:
            self._running = False
            if process is not None:
                await _end(process)


async def _end(process: asyncio.subprocess.Process) -> None:
    """End a search that may still run, and take its leave."""
    if process.returncode is None:
        process.kill()
    await process.wait()
