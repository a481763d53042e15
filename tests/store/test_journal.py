"""The journal: intents before, results after, and every entry found again."""

import asyncio
from datetime import timedelta

from geartender.store import Run, RunStep, Store
from geartender.store.journal_rows import Search
from geartender.world import World
from geartender.world.virtual import run_virtual
from tests.store.kit import on_store, opened


def test_an_intent_is_there_before_its_result(url: str) -> None:
    async def scenario(store: Store) -> None:
        intent = await store.journal.intend("move", "move to 30°", who="Anna", servo="vent", what={"to_deg": 30})
        assert intent.id is not None
        assert (await store.journal.entry(intent.id)).result is None
        await store.journal.settle(intent, "done", figures={"end_deg": 30.0})
        entry = await store.journal.entry(intent.id)
        assert (entry.result, entry.figures, entry.note.what) == ("done", {"end_deg": 30.0}, {"to_deg": 30})

    on_store(scenario, url)


def test_after_a_crash_what_had_no_result_is_unknown_and_no_run_goes_on(url: str) -> None:
    async def before(world: World) -> None:
        store = Store(url, world)
        await store.open()
        await store.journal.intend("move", "move to 30°", who="Anna", servo="vent")
        asked = world.wall()
        await store.put_run(Run("r1", "morning", "vent", "running", "Anna", asked))
        await store.put_run_step(RunStep("r1", 0, {"do": "home", "result": "done"}))
        store._database.close()  # the process is gone: nothing was said to end

    async def after(world: World) -> None:
        async with opened(url, world) as store:
            (entry,) = (await store.journal.page(Search())).entries
            assert entry.result == "unknown"
            assert (await store.get_run("r1")).state == "unknown"
            assert [step.body["do"] for step in await store.run_steps("r1")] == ["home"]

    run_virtual(before)
    run_virtual(after)


def test_pages_go_from_the_newest_to_the_oldest_without_gap_or_repetition(url: str) -> None:
    async def scenario(store: Store) -> None:
        for number in range(25):
            store.journal.tell("stop", f"stop {number}", servo="vent")
        seen: list[str] = []
        before = None
        while True:
            page = await store.journal.page(Search(), before, limit=10)
            seen += [entry.note.text for entry in page.entries]
            if page.next is None:
                break
            before = page.next
        assert seen == [f"stop {number}" for number in reversed(range(25))]

    on_store(scenario, url)


def test_filters_by_kind_servo_words_and_time(url: str) -> None:
    async def scenario(store: Store) -> None:
        for number in range(6):
            store.journal.tell(
                "move" if number % 2 else "stop", f"number {number}", servo="vent" if number < 3 else "sky"
            )
            await asyncio.sleep(3600 * 12)

        async def found(search: Search) -> list[str]:
            return [entry.note.text[-1] for entry in (await store.journal.page(search)).entries]

        first = (await store.journal.page(Search())).entries[-1].note.at
        assert await found(Search(kinds=("move",))) == ["5", "3", "1"]
        assert await found(Search(kinds=("move", "stop"), servo="vent")) == ["2", "1", "0"]
        assert await found(Search(words="NUMBER 4")) == ["4"]
        assert await found(Search(words="100%")) == []
        assert await found(Search(since=first + timedelta(hours=24), until=first + timedelta(hours=48))) == ["3", "2"]

    on_store(scenario, url)
