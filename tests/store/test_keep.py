"""What is too old or too much goes, the oldest first, and no more than that."""

from __future__ import annotations

import asyncio
from pathlib import Path

import pytest
from sqlalchemy import text

from geartender.store import Run, Store
from geartender.store import keep as keep_module
from geartender.store.journal_rows import Search
from geartender.store.keep import Keeping, used_bytes
from geartender.store.space import MIB
from tests.store.kit import address, on_store

DAY_S = 86_400.0


def test_entries_and_runs_go_by_age(url: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(keep_module, "AT_ONCE", 3)

    async def scenario(store: Store) -> None:
        for number in range(10):
            store.journal.tell("stop", f"day {number}", trace=[{"t_s": 0.0}])
            await store.put_run(Run(f"r{number}", "morning", "vent", "done", "Anna", store._wall()))
            await asyncio.sleep(DAY_S)
        store._keeping = Keeping(days=4, max_bytes=100 * MIB)
        await store.thin_out()
        left = [entry.note.text for entry in (await store.journal.page(Search())).entries]
        assert left == ["day 9", "day 8", "day 7", "day 6"]
        assert [run.id for run in await store.runs()] == ["r9", "r8", "r7", "r6"]
        assert await store.read(lambda session: session.scalar(text("SELECT count(*) FROM journal_traces"))) == 4

    on_store(scenario, url)


def test_entries_go_by_size_and_the_room_is_given_back(tmp_path: Path) -> None:
    file = tmp_path / "a.db"

    async def scenario(store: Store) -> None:
        assert await store.read(lambda session: session.scalar(text("PRAGMA auto_vacuum"))) == 2
        for number in range(300):
            store.journal.tell("stop", f"{number} {'x' * 8000}")
        store._keeping = Keeping(days=10_000, max_bytes=1 * MIB)
        await store.thin_out()
        assert await store.read(used_bytes) <= 1 * MIB
        newest = (await store.journal.page(Search(), limit=1)).entries[0]
        assert newest.note.text.startswith("299")
        assert await store.read(lambda session: session.scalar(text("PRAGMA page_count"))) < 1.2 * MIB / 4096

    on_store(scenario, address(file))
