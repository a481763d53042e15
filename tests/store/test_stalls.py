"""Storage that stands still for seconds holds up neither the beat that the firmware waits for, nor a person, nor a stop."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TypeVar

import pytest

from geartender.api.recorder import Recorder
from geartender.servo.requests import MoveRequest
from geartender.servo.servo import Servo
from geartender.simulator.device import SimulatedServo
from geartender.store import Store
from geartender.store.database import MEMORY
from geartender.store.journal import PERSON_WAIT_S
from geartender.store.journal_rows import Search
from geartender.world import World, real_world
from geartender.world.virtual import run_virtual
from tests.servo.rig import ANNA, Rig, direct, running
from tests.store.kit import address

T = TypeVar("T")
STALL_S = 5.0


class StallingWorker:
    """Does jobs in order on virtual time, each `stall` seconds after the one before it."""

    def __init__(self) -> None:
        self.stall = 0.0
        self._last: asyncio.Task[None] | None = None

    def submit(self, job: Callable[[], T]) -> asyncio.Future[T]:
        future: asyncio.Future[T] = asyncio.get_running_loop().create_future()
        self._last = asyncio.create_task(self._do(self._last, self.stall, job, future))
        return future

    async def _do(
        self, before: asyncio.Task[None] | None, stall: float, job: Callable[[], T], future: asyncio.Future[T]
    ) -> None:
        if before is not None:
            await before
        if stall:
            await asyncio.sleep(stall)
        try:
            future.set_result(job())
        except Exception as error:  # noqa: BLE001 - handed on, as the workers of the service do
            future.set_exception(error)

    async def close(self) -> None:
        if self._last is not None:
            await self._last


def test_on_virtual_time_a_person_moves_and_stops_while_every_write_takes_five_seconds() -> None:
    async def main(world: World) -> None:
        worker = StallingWorker()
        store = Store(MEMORY, replace(world, worker=lambda _: worker))
        await store.open()
        sheet = direct()
        rig = Rig(world, SimulatedServo(sheet, None, 1), sheet)
        rig.servo = Servo("vent", sheet, rig.opener, world, Recorder(store))
        async with running(rig.servo):
            await rig.homed()
            worker.stall = STALL_S
            asked = world.monotonic()
            motion = await rig.servo.move(ANNA, MoveRequest(to_deg=60.0))
            assert world.monotonic() - asked <= PERSON_WAIT_S + 0.1
            await asyncio.sleep(3.0)
            rig.servo.stop(ANNA, 2)
            await motion.ended()
            assert motion.state == "stopped"
            await rig.go(20.0)
            assert rig.servo.snapshot().fault is None
            worker.stall = 0.0
            await asyncio.sleep(60.0)
            entries = (await store.journal.page(Search(kinds=("move", "stop", "link", "fault")))).entries
            assert [(one.note.kind, one.result) for one in reversed(entries)] == [
                ("link", "done"),
                ("move", "stopped"),
                ("stop", "done"),
                ("move", "done"),
            ]
        await store.close()

    run_virtual(main)


@pytest.mark.real_time
def test_the_loop_goes_on_while_the_thread_of_the_store_stands_still(tmp_path: Path) -> None:
    async def main() -> None:
        store = Store(address(tmp_path / "a.db"), real_world())
        await store.open()
        go_on = threading.Event()
        stalled = store.write(lambda _: go_on.wait())
        for number in range(50):  # all of this only if the loop is not the one that waits
            store.journal.tell("stop", f"stop {number}", servo="vent")
            await asyncio.sleep(0)
        assert not stalled.done()
        go_on.set()
        assert await stalled
        assert len((await store.journal.page(Search(), limit=100)).entries) == 50
        await store.close()

    asyncio.run(main())
