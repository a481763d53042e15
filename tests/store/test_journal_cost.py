"""A page costs the same however long the journal is: counted in steps of SQLite's machine, not in time."""

from __future__ import annotations

import sqlite3
from datetime import timedelta
from pathlib import Path

import pytest

from geartender.store import Store, journal_rows
from geartender.store.journal_rows import Search
from tests.store.kit import address, on_store
from tests.store.many import FIRST, SPREAD, fill

SHORT, LONG = 3_000, 30_000

PAGES: dict[str, tuple[Search, float | None]] = {
    "newest": (Search(), None),
    "middle": (Search(), 0.5),
    "one kind": (Search(kinds=("fault",)), None),
    "two kinds of a servo": (Search(kinds=("fault", "arm"), servo="vent"), 0.6),
    "a servo": (Search(servo="vent"), 0.3),
    "a run": (Search(run="run 1"), None),
    "a time": (Search(since=FIRST, until=FIRST + timedelta(seconds=900 * SPREAD)), None),
    "a word that is not there": (Search(words="chimney"), 0.4),
}


@pytest.fixture(scope="module")
def journals(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A short and a long journal."""
    folder = tmp_path_factory.mktemp("journals")
    for rows in (SHORT, LONG):

        async def scenario(store: Store, rows: int = rows) -> None:
            await store.write(lambda session: fill(session, 0, rows))

        on_store(scenario, address(folder / f"{rows}.db"))
    return folder


def steps(file: Path, search: Search, before: int | None) -> int:
    """Steps of SQLite's machine that the page costs."""
    counted = [0]

    def count() -> int:
        counted[0] += 1
        return 0

    async def scenario(store: Store) -> None:
        connection = await store.read(lambda session: session.connection().connection.dbapi_connection)
        assert isinstance(connection, sqlite3.Connection)
        connection.set_progress_handler(count, 1)
        page = await store.journal.page(search, before, limit=50)
        connection.set_progress_handler(None, 1)
        full = not (search.words or search.since)  # those may have to go on for their first entry
        assert len(page.entries) == (0 if not full else 40 if search.run else 50)
        assert full or page.next is not None

    on_store(scenario, address(file))
    return counted[0]


@pytest.mark.parametrize("name", PAGES)
def test_a_page_costs_no_more_in_a_longer_journal(journals: Path, name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(journal_rows, "SCANNED_MAX", 500)  # as the short journal is to long ones
    search, at = PAGES[name]
    short, long = (
        steps(journals / f"{rows}.db", search, None if at is None else round(rows * at)) for rows in (SHORT, LONG)
    )
    assert long <= 1.2 * short + 100


def test_a_long_search_for_words_is_told_where_to_go_on(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(journal_rows, "SCANNED_MAX", 100)

    async def scenario(store: Store) -> None:
        store.journal.tell("stop", "the needle")
        await store.write(lambda session: fill(session, 1, 950))
        pages, before = 0, None
        while True:
            page = await store.journal.page(Search(words="needle"), before)
            pages += 1
            if page.entries:
                break
            assert page.next is not None
            before = page.next
        assert pages == 10

    on_store(scenario)
