"""A servo of the service with a simulated one behind it, in a seeded world on virtual time."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator, Awaitable, Callable
from pathlib import Path
from typing import Any

import geartender.build
from geartender.build import BuildSheet, build_document, load_build, parse_build
from geartender.link.port import Opener
from geartender.servo.motions import Motion, Who
from geartender.servo.requests import MoveRequest
from geartender.servo.servo import Servo
from geartender.simulator.device import SimulatedServo
from geartender.simulator.in_memory import SimulatedPort
from geartender.simulator.plant import Plant
from geartender.world import World
from geartender.world.virtual import run_virtual

ANNA = Who("tab-1", "Anna")
BERT = Who("tab-2", "Bert")

VENT = Path(geartender.build.__file__).parent / "ridge_vent.toml"


def vent(**tables: dict[str, Any]) -> BuildSheet:
    """The ridge vent, with some fields of some tables changed."""
    document = build_document(load_build(VENT))
    for name, fields in tables.items():
        document[name] = {**document.get(name, {}), **fields}
    return parse_build(document)


def direct(**tables: dict[str, Any]) -> BuildSheet:
    """The ridge vent with the shortest approach, so that a move is one plain path."""
    tables["rest"] = {"approach": "shortest", **tables.get("rest", {})}
    return vent(**tables)


class Rig:
    """The servo, what is behind it, and helpers that read as sentences."""

    def __init__(self, world: World, sim: SimulatedServo, sheet: BuildSheet, opener: Opener | None = None) -> None:
        self.sim = sim
        self.world = world
        self.opener = opener or SimulatedPort(sim)
        self.servo = Servo("vent", sheet, self.opener, world)

    async def until(self, condition: Callable[[], bool], at_most: float = 10.0) -> None:
        """Wait in small steps of virtual time; fails when it does not come about."""
        end = self.world.monotonic() + at_most
        while not condition():
            assert self.world.monotonic() < end, f"not within {at_most} s; state {self.servo.state}"
            await asyncio.sleep(0.01)

    async def connected(self) -> None:
        await self.until(lambda: self.servo.snapshot().link.state == "connected" and self.servo.state != "offline")

    async def armed(self) -> None:
        await self.connected()
        await self.servo.arm(ANNA)

    async def homed(self) -> None:
        await self.armed()
        motion = await self.servo.home(ANNA)
        await motion.ended()
        assert motion.state == "done", motion.report()

    async def go(self, to_deg: float, **fields: Any) -> Motion:
        """A move to its end."""
        motion = await self.servo.move(ANNA, MoveRequest(to_deg=to_deg, **fields))
        await motion.ended()
        return motion

    @property
    def truth_deg(self) -> float:
        return self.sim.truth().output_deg

    @property
    def angle(self) -> float:
        angle = self.servo.snapshot().angle_deg
        assert angle is not None
        return angle


@contextlib.asynccontextmanager
async def running(servo: Servo) -> AsyncIterator[None]:
    task = asyncio.create_task(servo.run())
    try:
        yield
    finally:
        task.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await task


def on_rig(
    scenario: Callable[[Rig], Awaitable[None]],
    sheet: BuildSheet | None = None,
    plant: Plant | None = None,
    seed: int = 1,
) -> None:
    """Run a scenario on a rig of its own."""
    sheet = sheet or direct()

    async def main(world: World) -> None:
        rig = Rig(world, SimulatedServo(sheet, plant, seed), sheet)
        async with running(rig.servo):
            await scenario(rig)

    run_virtual(main, seed)
