"""Runs on simulated servos, in a seeded world on virtual time, with a database in memory."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Awaitable, Callable, Iterable
from dataclasses import dataclass, field
from typing import Any

from geartender.build import BuildSheet
from geartender.link.port import Opener
from geartender.sequences.reading import parse_sequence, sequence_document
from geartender.sequences.run import Run
from geartender.sequences.run_models import RunReport
from geartender.sequences.runs import SEQUENCE, Runs
from geartender.servo.motions import Who
from geartender.servo.servo import Servo
from geartender.simulator.device import SimulatedServo
from geartender.simulator.in_memory import SimulatedPort
from geartender.store import Store
from geartender.store.database import MEMORY
from geartender.world import World
from geartender.world.virtual import run_virtual
from tests.servo.rig import ANNA, direct

CLOCK = Who("timetable", "the timetable", via="timetable")


@dataclass
class House:
    """The servos of a service with their simulations, and the runs on them."""

    world: World
    store: Store
    servos: dict[str, Servo]
    sims: dict[str, SimulatedServo]
    runs: Runs
    messages: list[dict[str, Any]] = field(default_factory=list)

    @property
    def servo(self) -> Servo:
        """The only servo, or the first."""
        return next(iter(self.servos.values()))

    @property
    def sim(self) -> SimulatedServo:
        return next(iter(self.sims.values()))

    async def until(self, condition: Callable[[], bool], at_most: float = 20.0) -> None:
        end = self.world.monotonic() + at_most
        while not condition():
            assert self.world.monotonic() < end, f"not within {at_most} s"
            await asyncio.sleep(0.01)

    async def connected(self) -> None:
        for servo in self.servos.values():
            await self.until(lambda s=servo: s.snapshot().link.state == "connected" and s.state != "offline")

    async def homed(self) -> None:
        await self.connected()
        for servo in self.servos.values():
            await servo.arm(ANNA)
            await (await servo.home(ANNA)).ended()
            servo.give_helm(ANNA)

    async def put(self, name: str, steps: Iterable[Any] = (), **fields: Any) -> None:
        document = sequence_document(parse_sequence({"steps": list(steps), **fields}))
        await self.store.put_document(SEQUENCE, name, document, None)

    async def start(self, name: str, who: Who = ANNA, servo: str | None = None) -> Run:
        return await self.runs.start(name, who, servo)

    async def done(self, name: str, who: Who = ANNA) -> RunReport:
        """Start a run, and wait for its end."""
        run = await self.start(name, who)
        await run.ended()
        return await self.runs.report(run.id)


def in_house(
    scenario: Callable[[House], Awaitable[None]],
    sheets: dict[str, BuildSheet] | None = None,
    *,
    unattended: Iterable[str] = (),
    seed: int = 1,
    url: str = MEMORY,
    servos_run: bool = True,
) -> None:
    """Run a scenario in a house of its own; without its servos running they are offline, and time flies."""
    given = sheets or {"vent": direct()}

    async def main(world: World) -> None:
        sims = {name: SimulatedServo(sheet, None, seed) for name, sheet in given.items()}
        ports: dict[str, Opener] = {name: SimulatedPort(sim) for name, sim in sims.items()}
        servos = {name: Servo(name, sheet, ports[name], world) for name, sheet in given.items()}
        store = Store(url, world)
        await store.open()
        runs = Runs(store, servos, world, tuple(unattended))
        house = House(world, store, servos, sims, runs)
        tasks = [asyncio.create_task(one.run()) for one in (*(servos.values() if servos_run else ()), runs)]
        try:
            await scenario(house)
        finally:
            for task in reversed(tasks):
                task.cancel()
                with contextlib.suppress(asyncio.CancelledError):
                    await task
            await store.close()

    run_virtual(main, seed)
