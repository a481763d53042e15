"""Power cuts and failing operations, one after the other, under the real SQLite. All of them: tests/benchmarks/store.py."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable
from pathlib import Path

import pytest

from geartender.errors import NotStored, Stale
from geartender.store import Store
from geartender.store.trouble import Trouble
from geartender.world import World
from geartender.world.virtual import run_virtual
from tests.store.hostile_disk import FULL, READONLY, SYNC_FAILED, WRITE_FAILED, HostileDisk, hostile_disk
from tests.store.kit import address, opened
from tests.store.proofs import one_failure, power_cut


@pytest.mark.parametrize("seed", range(12))
def test_a_power_cut_loses_nothing_that_was_acknowledged(tmp_path: Path, seed: int) -> None:
    power_cut(tmp_path, seed)


@pytest.mark.parametrize("for_ever", [False, True], ids=["once", "for ever"])
@pytest.mark.parametrize("number", range(1, 200, 17))
def test_one_operation_that_fails_makes_no_wrong_answer(tmp_path: Path, number: int, for_ever: bool) -> None:
    one_failure(tmp_path, number, for_ever)


def with_trouble(folder: Path, scenario: Callable[[Store, HostileDisk], Awaitable[None]]) -> None:
    async def main(world: World) -> None:
        with hostile_disk() as disk:
            async with opened(address(folder / "a.db"), world) as store:
                await scenario(store, disk)

    run_virtual(main)


@pytest.mark.parametrize(
    ("code", "trouble"), [(FULL, Trouble.FULL), (READONLY, Trouble.READ_ONLY), (WRITE_FAILED, Trouble.FAILED)]
)
def test_each_kind_of_trouble_is_told_apart_and_ends_by_itself(tmp_path: Path, code: int, trouble: Trouble) -> None:
    async def scenario(store: Store, disk: HostileDisk) -> None:
        await store.put_document("sequence", "morning", {"note": "old"}, None)
        disk.fails = lambda _, kind: code if kind == "write" else None
        with pytest.raises(NotStored):
            await store.put_document("sequence", "morning", {"note": "new"}, 1)
        assert store.trouble is trouble
        with pytest.raises(NotStored):
            store.require_keeping()
        assert (await store.document("sequence", "morning")).body == {"note": "old"}
        watch = asyncio.create_task(store.run())
        await asyncio.sleep(60.0)
        assert store.trouble is trouble
        assert [notice.kind for notice in store.notices.all()] == ["store"]
        disk.fails = lambda _, kind: None
        await asyncio.sleep(400.0)
        assert store.trouble is None
        assert store.notices.all() == []
        store.require_keeping()
        await store.put_document("sequence", "morning", {"note": "new"}, 1)
        watch.cancel()

    with_trouble(tmp_path, scenario)


def test_a_full_disk_is_given_the_ballast(tmp_path: Path) -> None:
    async def scenario(store: Store, disk: HostileDisk) -> None:
        ballast = tmp_path / "a.db.ballast"
        assert ballast.stat().st_blocks * 512 >= 8 << 20
        disk.fails = lambda _, kind: FULL if kind == "write" and ballast.exists() else None
        with pytest.raises(NotStored):
            await store.set_state("fired", "dawn", {})
        assert not ballast.exists()
        watch = asyncio.create_task(store.run())
        await asyncio.sleep(30.0)
        await store.set_state("fired", "dawn", {})
        watch.cancel()

    with_trouble(tmp_path, scenario)


def test_a_damaged_file_is_told_and_stops_nobody(tmp_path: Path) -> None:
    (tmp_path / "a.db").write_bytes(b"This was a database before the card wore out. " * 200)

    async def main(world: World) -> None:
        async with opened(address(tmp_path / "a.db"), world) as store:
            assert store.trouble is Trouble.DAMAGED
            with pytest.raises(NotStored, match="Restore a backup"):
                await store.document("sequence", "morning")
            intent = await store.journal.intend("move", "move to 30°", who="Anna", servo="vent")
            assert (intent.id, store.journal.waiting) == (None, 1)

    run_virtual(main)


def test_after_a_refused_change_the_old_revision_stands(tmp_path: Path) -> None:
    async def scenario(store: Store, disk: HostileDisk) -> None:
        await store.put_document("sequence", "morning", {"note": "old"}, None)
        disk.fails = lambda _, kind: SYNC_FAILED if kind == "sync" else None
        with pytest.raises(NotStored):
            await store.put_document("sequence", "morning", {"note": "new"}, 1)
        disk.fails = lambda _, kind: None
        watch = asyncio.create_task(store.run())
        await asyncio.sleep(30.0)
        document = await store.document("sequence", "morning")
        # The disk may have had it before its sync failed; then who asks again is told so, and nothing is overwritten unseen.
        if document.revision == 2:
            with pytest.raises(Stale):
                await store.put_document("sequence", "morning", {"note": "new"}, 1)
        watch.cancel()

    with_trouble(tmp_path, scenario)
