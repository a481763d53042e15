"""The timetable at work: it starts what is due, waits or skips as the entry says, and tells what it did not do."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from typing import Any

from geartender.sequences.keeper import Timekeeper
from geartender.sequences.timetable import TIMETABLE, Site, entry_document, parse_entry
from geartender.store.journal_rows import Search
from tests.sequences.kit import House, in_house
from tests.servo.rig import ANNA, BERT

SITE = Site("Europe/Lisbon", 38.7, -9.1)
SHORT = [{"do": "move", "to_deg": 10}, {"do": "move", "to_deg": 5}]


async def enter(house: House, name: str, **fields: Any) -> None:
    entry = parse_entry({"sequence": "short", **fields}, SITE, ["short"], house.servos)
    await house.store.put_document(TIMETABLE, name, entry_document(entry), None)


@asynccontextmanager
async def kept(house: House, right: list[bool] | None = None) -> AsyncIterator[Timekeeper]:
    keeper = Timekeeper(house.store, house.runs, house.world, SITE, lambda: right is None or right[0])
    task = asyncio.create_task(keeper.run())
    try:
        yield keeper
    finally:
        task.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await task


async def told(house: House) -> list[tuple[str | None, str]]:
    """The journal's entries about slots, oldest first."""
    page = await house.store.journal.page(Search(kinds=("slot",)), limit=50)
    return [(entry.result, entry.reason or entry.note.text) for entry in reversed(page.entries)]


def test_it_runs_at_the_second_and_leaves_the_servo_to_others() -> None:
    async def scenario(house: House) -> None:
        await house.homed()
        await house.put("short", SHORT)
        await enter(house, "minutely", every_s=60)
        async with kept(house):
            await asyncio.sleep(125)
        runs, _ = await house.runs.listed(10, None, None)
        assert [one.state for one in runs] == ["done", "done"]
        assert all(one.asked_at.second == 0 and one.asked_at.microsecond < 50_000 for one in runs)
        assert [result for result, _ in await told(house)] == ["done", "done"]
        assert house.servo.snapshot().helm is None

    in_house(scenario)


def test_busy_is_skipped_or_waited_for() -> None:
    async def scenario(house: House) -> None:
        await house.homed()
        await house.put("short", SHORT)
        await enter(house, "skips", cron="1 6 * * *", zone="UTC")
        await enter(house, "waits", cron="1 6 * * *", zone="UTC", busy="wait")
        async with kept(house) as keeper:
            await asyncio.sleep(40)
            house.servo.take_helm(BERT, force=False)
            await house.until(lambda: house.world.wall().minute == 1, 40)
            await asyncio.sleep(3)
            assert "Bert holds the helm" in (keeper.waits("waits") or "")
            house.servo.give_helm(BERT)
            await asyncio.sleep(15)
        assert sorted(result for result, _ in await told(house)) == ["done", "skipped"]
        runs, _ = await house.runs.listed(10, None, None)
        assert [one.asked_by for one in runs] == ["the timetable's waits"]

    in_house(scenario)


def test_what_cannot_run_is_missed_and_needs_a_person_until_it_runs_again() -> None:
    async def scenario(house: House) -> None:
        await house.connected()
        await house.put("short", SHORT)
        await enter(house, "minutely", every_s=60)
        async with kept(house):
            await asyncio.sleep(70)
            assert (await told(house))[-1][0] == "missed"
            (notice,) = house.store.notices.all()
            assert (notice.kind, notice.name) == ("missed", "minutely")
            assert "disarmed" in notice.text
            await house.homed()
            await asyncio.sleep(60)
            assert house.store.notices.all() == []

    in_house(scenario)


def test_within_minutes_it_is_tried_again() -> None:
    async def scenario(house: House) -> None:
        await house.connected()
        await house.put("short", SHORT)
        await enter(house, "late", cron="1 6 * * *", zone="UTC", missed={"within_min": 2})
        async with kept(house):
            await asyncio.sleep(75)
            await house.homed()
            await asyncio.sleep(20)
        assert [result for result, _ in await told(house)] == ["done"]

    in_house(scenario)


def test_nothing_runs_before_the_clock_is_known_to_be_right() -> None:
    async def scenario(house: House) -> None:
        await house.homed()
        await house.put("short", SHORT)
        await enter(house, "minutely", every_s=60)
        right = [False]
        async with kept(house, right) as keeper:
            await asyncio.sleep(65)
            assert not keeper.clock_is_right
            assert [notice.kind for notice in house.store.notices.all()] == ["clock"]
            assert (await house.runs.listed(10, None, None))[0] == []
            right[0] = True
            await asyncio.sleep(50)
            assert house.store.notices.all() == []
            assert len((await house.runs.listed(10, None, None))[0]) == 1

    in_house(scenario)


def test_a_restart_neither_repeats_nor_passes_over() -> None:
    async def scenario(house: House) -> None:
        await house.homed()
        await house.put("short", SHORT)
        await enter(house, "minutely", every_s=60)
        async with kept(house):
            await asyncio.sleep(63)
        await asyncio.sleep(120)
        async with kept(house):
            await asyncio.sleep(5)
        results = [result for result, _ in await told(house)]
        assert results[0] == "done"
        assert "missed" in results[1:]
        runs, _ = await house.runs.listed(10, None, None)
        assert len({one.asked_at.replace(second=0, microsecond=0) for one in runs}) == len(runs)

    in_house(scenario)


def test_a_person_who_takes_over_wins_over_the_timetable() -> None:
    async def scenario(house: House) -> None:
        await house.homed()
        await house.put("short", [{"do": "wait", "for_s": 30}, *SHORT])
        await enter(house, "once", once="2031-03-01T06:01:00Z")
        async with kept(house):
            await house.until(lambda: house.servo.snapshot().run is not None, 60)
            house.servo.stop(ANNA, 1)
            await asyncio.sleep(5)
            assert house.servo.snapshot().run is None
        runs, _ = await house.runs.listed(10, None, None)
        assert [(one.state, one.reason) for one in runs] == [("stopped", "stopped by Anna")]

    in_house(scenario)
