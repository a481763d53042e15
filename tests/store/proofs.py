"""What must hold whenever the power goes and whichever operation of the disk fails; a few as tests, all by tests/benchmarks/store.py."""

from __future__ import annotations

import asyncio
import random
from pathlib import Path

from geartender.store import Store
from geartender.store.journal_rows import Search
from geartender.world import World
from geartender.world.virtual import run_virtual
from tests.store.busy import Acknowledged, busy, check
from tests.store.hostile_disk import CANTOPEN, SYNC_FAILED, WRITE_FAILED, hostile_disk
from tests.store.kit import address, opened

ACTS = 12
CODES = {"open": CANTOPEN, "write": WRITE_FAILED, "sync": SYNC_FAILED}


def power_cut(folder: Path, seed: int) -> bool:
    """A busy store whose power goes at some operation; whether it did. What is left is checked."""
    dice, done = random.Random(seed), Acknowledged()
    before, after = folder / f"before-{seed}", folder / f"after-{seed}"
    before.mkdir()
    after.mkdir()

    async def until_dark(world: World) -> None:
        store = Store(address(before / "a.db"), world)
        await store.open()
        try:
            await busy(store, dice, ACTS, done)
        finally:
            await store.close()

    with hostile_disk() as disk:
        disk.cut_at(dice.randrange(40, 260), dice)
        run_virtual(until_dark, seed)
        if not disk.went_dark:
            return False
        disk.leave(after, before)

    async def afterwards(world: World) -> None:
        async with opened(address(after / "a.db"), world) as store:
            await check(store, done)

    run_virtual(afterwards, seed)
    return True


def one_failure(folder: Path, number: int, for_ever: bool) -> bool:
    """The same acts with one operation failing, once or from then on; whether it came to that. What was said must hold."""
    dice, done = random.Random(7), Acknowledged()
    url = address(folder / f"{number}-{for_ever}.db")

    async def meanwhile(world: World) -> bool:
        with hostile_disk() as disk:
            disk.fails = lambda now, kind: CODES[kind] if now == number or (for_ever and now > number) else None
            store = Store(url, world)
            await store.open()
            await busy(store, dice, ACTS // 2, done, "a")
            watch = asyncio.create_task(store.run())
            await busy(store, dice, ACTS // 2, done, "b")
            await asyncio.sleep(60.0)
            reached = disk.operations > number
            assert (store.trouble is not None) == (for_ever and reached)
            disk.fails = lambda now, kind: None
            await asyncio.sleep(400.0)  # opened anew meanwhile, if it was in trouble
            assert store.trouble is None
            watch.cancel()
            texts = {entry.note.text for entry in (await store.journal.page(Search(), limit=500)).entries}
            assert set(done.moved) <= texts, "a motion is not in the journal"
            await store.close()
        return reached

    async def afterwards(world: World) -> None:
        async with opened(url, world) as store:
            await check(store, done)

    reached = run_virtual(meanwhile)
    run_virtual(afterwards)
    return reached
