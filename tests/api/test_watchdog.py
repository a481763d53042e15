"""The service manager hears of progress only while everything makes some."""

import asyncio
from collections.abc import Awaitable, Callable
from dataclasses import replace
from typing import Any

from geartender.api.app import create_app
from geartender.api.service import Service
from geartender.api.watchdog import LOOKS_PER_PERIOD, Watchdog
from geartender.cli.running import ridge_vent
from geartender.config import parse_settings
from geartender.errors import PortError
from geartender.servo.motions import Who
from geartender.world import World
from geartender.world.supervisor import ALIVE, Supervisor
from geartender.world.virtual import run_virtual
from geartender.world.worker import InlineWorker
from tests.api.kit import lifespan

PERIOD_S = 20.0
PHONE = Who("phone", "phone")


class Ears(Supervisor):
    """A service manager that writes down what it is told."""

    def __init__(self, watchdog_s: float | None = PERIOD_S) -> None:
        super().__init__(None, watchdog_s)
        self.heard: list[str] = []

    def tell(self, *words: str) -> None:
        self.heard += words


class NoBoard:
    """A port that is not there; or, once `stuck`, one whose driver never comes back."""

    stuck = False

    async def open(self, _: object) -> Any:
        if self.stuck:
            await asyncio.Event().wait()
        raise PortError("nothing is plugged in")


class Disk(InlineWorker):
    """A worker that can be stopped."""

    stuck = False

    def submit(self, job: Callable[[], Any]) -> asyncio.Future[Any]:
        return asyncio.get_running_loop().create_future() if self.stuck else super().submit(job)


def watched(
    test: Callable[[Service, Ears, NoBoard, Disk], Awaitable[None]], watchdog_s: float | None = PERIOD_S
) -> None:
    async def main(world: World) -> None:
        settings = parse_settings({"servo": [{"name": "vent", "port": "none", "build": ridge_vent()}]})
        ears, disk = Ears(watchdog_s), Disk()
        app = create_app(settings, replace(world, supervisor=ears, worker=lambda _: disk))
        async with lifespan(app):
            service: Service = app.state.service
            looking = asyncio.create_task(Watchdog(service, ears).run())
            await test(service, ears, board, disk)
            looking.cancel()
            disk.stuck = False

    board = NoBoard()
    run_virtual(main, opener=lambda _: board)


async def fed(ears: Ears, for_s: float) -> int:
    """How often the watchdog was fed in that time, which begins and ends between two feedings."""
    await asyncio.sleep(PERIOD_S / LOOKS_PER_PERIOD / 3)
    ears.heard.clear()
    await asyncio.sleep(for_s)
    return ears.heard.count(ALIVE)


def test_it_is_fed_in_good_time_while_all_goes_on_even_with_no_board() -> None:
    async def test(_: Service, ears: Ears, __: NoBoard, ___: Disk) -> None:
        assert await fed(ears, 3600.0) == 3600 / PERIOD_S * LOOKS_PER_PERIOD

    watched(test)


def test_a_link_that_hangs_in_its_driver_starves_it() -> None:
    async def test(_: Service, ears: Ears, board: NoBoard, __: Disk) -> None:
        board.stuck = True
        await asyncio.sleep(3 * PERIOD_S / LOOKS_PER_PERIOD)
        assert await fed(ears, PERIOD_S * 10) == 0

    watched(test)


def test_a_port_that_was_let_go_is_no_hang() -> None:
    async def test(service: Service, ears: Ears, __: NoBoard, ___: Disk) -> None:
        service.servos["vent"].release_port(PHONE)
        assert await fed(ears, 600.0) == 600 / PERIOD_S * LOOKS_PER_PERIOD

    watched(test)


def test_a_disk_that_never_comes_back_starves_it() -> None:
    async def test(_: Service, ears: Ears, __: NoBoard, disk: Disk) -> None:
        disk.stuck = True
        await asyncio.sleep(2 * PERIOD_S / LOOKS_PER_PERIOD)
        assert await fed(ears, PERIOD_S * 10) == 0

    watched(test)


def test_where_nobody_counts_it_looks_at_nothing() -> None:
    async def test(_: Service, ears: Ears, __: NoBoard, ___: Disk) -> None:
        assert await fed(ears, 600.0) == 0

    watched(test, watchdog_s=None)
