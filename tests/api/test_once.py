import asyncio

import pytest

from geartender.api.once import REMEMBERED_MAX, REMEMBERED_S, Once
from geartender.errors import Disarmed, Invalid
from geartender.world import World
from geartender.world.virtual import run_virtual


class Counter:
    def __init__(self) -> None:
        self.runs = 0

    async def __call__(self) -> int:
        self.runs += 1
        await asyncio.sleep(1)
        return self.runs


def key(name: str) -> tuple[str, str, str]:
    return ("client", "/path", name)


def test_two_at_the_same_time_run_once() -> None:
    async def main(world: World) -> None:
        once, action = Once(world.monotonic), Counter()
        assert await asyncio.gather(once.do(key("a"), "", action), once.do(key("a"), "", action)) == [1, 1]
        assert await once.do(None, "", action) == 2

    run_virtual(main)


def test_a_refusal_is_remembered() -> None:
    async def main(world: World) -> None:
        once = Once(world.monotonic)

        async def refuse() -> int:
            raise Disarmed("arm first")

        for _ in range(2):
            with pytest.raises(Disarmed):
                await once.do(key("a"), "", refuse)
        with pytest.raises(Invalid):
            await once.do(key("a"), "other", refuse)

    run_virtual(main)


def test_a_key_is_forgotten_after_its_time() -> None:
    async def main(world: World) -> None:
        once, action = Once(world.monotonic), Counter()
        await once.do(key("a"), "", action)
        await asyncio.sleep(REMEMBERED_S - 2)
        assert await once.do(key("a"), "", action) == 1
        await asyncio.sleep(2)
        assert await once.do(key("a"), "", action) == 2

    run_virtual(main)


def test_keys_are_bounded_and_the_oldest_goes_first() -> None:
    async def main(world: World) -> None:
        once, action = Once(world.monotonic), Counter()
        for number in range(REMEMBERED_MAX + 1):
            await once.do(key(str(number)), "", action)
        assert await once.do(key("1"), "", action) == 2
        assert await once.do(key("0"), "", action) == REMEMBERED_MAX + 2

    run_virtual(main)


def test_what_was_cancelled_may_be_asked_again() -> None:
    async def main(world: World) -> None:
        once, action = Once(world.monotonic), Counter()
        first = asyncio.create_task(once.do(key("a"), "", action))
        await asyncio.sleep(0.5)
        first.cancel()
        with pytest.raises(asyncio.CancelledError):
            await first
        assert await once.do(key("a"), "", action) == 2

    run_virtual(main)
