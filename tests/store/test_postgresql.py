"""A server that goes and comes back, and accounts that may not write: what only PostgreSQL can do."""

from __future__ import annotations

import asyncio

import pytest
from sqlalchemy import text

from geartender.errors import NotStored
from geartender.store.journal_rows import Search
from geartender.store.trouble import Trouble
from geartender.world import World
from geartender.world.virtual import run_virtual
from tests.store.cluster import Cluster, cluster
from tests.store.kit import opened

pytestmark = pytest.mark.postgresql


def test_a_server_that_goes_and_comes_back() -> None:
    async def main(world: World) -> None:
        with cluster() as running:
            async with opened(running.fresh(), world) as store:
                await store.put_document("sequence", "morning", {}, None)
                watch = asyncio.create_task(store.run())
                running.stop()
                with pytest.raises(NotStored):
                    await store.put_document("sequence", "evening", {}, None)
                assert store.trouble is Trouble.UNREACHABLE
                intent = await store.journal.intend("move", "move to 30°", who="Anna", servo="vent")
                store.journal.settle(intent, "done")
                await asyncio.sleep(60.0)
                assert (store.trouble, store.journal.waiting) == (Trouble.UNREACHABLE, 1)
                running.start()
                await asyncio.sleep(400.0)
                assert (store.trouble, store.journal.waiting) == (None, 0)
                moves = (await store.journal.page(Search(kinds=("move",)))).entries
                assert [(move.result, move.late) for move in moves] == [("done", True)]
                assert [one.name for one in await store.documents("sequence")] == ["morning"]
                watch.cancel()

    run_virtual(main)


def test_a_server_that_only_lets_read(postgresql: Cluster) -> None:
    async def main(world: World) -> None:
        async with opened(postgresql.fresh(), world) as store:
            await store.put_document("sequence", "morning", {}, None)
            await store.write(lambda session: session.execute(text("SET default_transaction_read_only = on")))
            with pytest.raises(NotStored):
                await store.put_document("sequence", "evening", {}, None)
            assert store.trouble is Trouble.READ_ONLY
            assert (await store.document("sequence", "morning")).revision == 1

    run_virtual(main)


def test_one_connection_and_no_more_however_much_is_asked_at_once(postgresql: Cluster) -> None:
    async def main(world: World) -> None:
        async with opened(postgresql.fresh(), world) as store:
            await asyncio.gather(*(store.set_state("fired", f"{number}", {"n": number}) for number in range(20)))
            assert len(await store.states("fired")) == 20
            ours = "SELECT count(*) FROM pg_stat_activity WHERE datname = current_database()"
            assert await store.read(lambda session: session.scalar(text(ours))) == 1

    run_virtual(main)


def test_a_server_that_is_not_there_at_the_start_stops_nobody() -> None:
    async def main(world: World) -> None:
        async with opened("postgresql+psycopg://nobody@/none?host=/nowhere", world) as store:
            assert store.trouble is Trouble.UNREACHABLE

    run_virtual(main)
