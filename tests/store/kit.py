"""A store on virtual time: jobs are done at once, on a database in memory or in a file."""

from __future__ import annotations

from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from pathlib import Path

from geartender.store import Store
from geartender.store.database import MEMORY
from geartender.world import World
from geartender.world.virtual import run_virtual


def address(file: Path) -> str:
    return f"sqlite:///{file}"


@asynccontextmanager
async def opened(url: str, world: World) -> AsyncIterator[Store]:
    store = Store(url, world)
    await store.open()
    try:
        yield store
    finally:
        await store.close()


def on_store(test: Callable[[Store], Awaitable[None]], url: str = MEMORY) -> None:
    """Run a test on a store of its own."""

    async def main(world: World) -> None:
        async with opened(url, world) as store:
            await test(store)

    run_virtual(main)
