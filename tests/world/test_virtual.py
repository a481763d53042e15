"""A world on virtual time: hours are over at once, the same seed is the same world, and a deadlock is told."""

import asyncio
from datetime import timedelta

import pytest

from geartender.world import World, real_world
from geartender.world.virtual import EPOCH, Deadlock, run_virtual


def test_an_hour_is_over_at_once_and_the_wall_clock_goes_with_it() -> None:
    async def main(world: World) -> tuple[float, timedelta]:
        await asyncio.sleep(3600)
        return world.monotonic(), world.wall() - EPOCH

    assert run_virtual(main) == (3600, timedelta(hours=1))


def test_timers_fire_in_order_at_their_own_times() -> None:
    async def main(world: World) -> list[tuple[float, str]]:
        seen: list[tuple[float, str]] = []
        loop = asyncio.get_running_loop()
        for delay, name in ((0.3, "c"), (0.1, "a"), (0.2, "b")):
            loop.call_later(delay, lambda name=name: seen.append((round(world.monotonic(), 9), name)))
        await asyncio.sleep(1)
        return seen

    assert run_virtual(main) == [(0.1, "a"), (0.2, "b"), (0.3, "c")]


def test_the_same_seed_draws_the_same_numbers() -> None:
    async def main(world: World) -> float:
        return world.random.random()

    assert run_virtual(main, 7) == run_virtual(main, 7) != run_virtual(main, 8)


def test_waiting_for_what_never_comes_is_a_deadlock() -> None:
    async def main(world: World) -> None:
        await asyncio.Event().wait()

    with pytest.raises(Deadlock, match="wait for ever"):
        run_virtual(main)


def test_tasks_left_over_are_cancelled_and_see_it() -> None:
    seen: list[str] = []

    async def forgotten() -> None:
        try:
            await asyncio.sleep(100)
        finally:
            seen.append("cleaned up")

    async def main(world: World) -> None:
        asyncio.get_running_loop().set_debug(False)
        main.task = asyncio.create_task(forgotten())  # type: ignore[attr-defined]
        await asyncio.sleep(0)

    run_virtual(main)
    assert seen == ["cleaned up"]


def test_there_are_no_ports_but_those_put_in() -> None:
    async def main(world: World) -> None:
        world.opener("/dev/anything")

    with pytest.raises(LookupError, match="anything"):
        run_virtual(main)


def test_the_real_world_has_real_clocks_and_chance() -> None:
    async def main() -> None:
        world = real_world()
        assert world.monotonic() == pytest.approx(asyncio.get_running_loop().time(), abs=1)
        assert world.wall().tzinfo is not None
        assert world.random.random() != world.random.random()
        world.opener("/dev/nothing")

    asyncio.run(main())
