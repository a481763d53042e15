"""Weeks of a servo's life on virtual time: each day some moves of a machine that wears, in the weather of that day."""

from __future__ import annotations

import asyncio
import math
import random
from dataclasses import dataclass, field

from geartender.api.recorder import Recorder
from geartender.bench.health.verdicts import HealthReport
from geartender.bench.health.watcher import NOTICE, Health
from geartender.build import BuildSheet
from geartender.servo.requests import MoveRequest
from geartender.servo.servo import Servo
from geartender.simulator.device import SimulatedServo
from geartender.simulator.in_memory import SimulatedPort
from geartender.simulator.plant import Plant, plant_of
from geartender.store import Store
from geartender.store.database import MEMORY
from geartender.store.journal_rows import Search
from geartender.world import World
from geartender.world.virtual import run_virtual
from tests.servo.rig import ANNA, Rig, running, vent

DAY_S = 86_400.0
COPPER_PER_K = 0.0039
"""1/K: resistance of copper (IEC 60028: 0.00393 at 20 °C)."""
GREASE_PER_K = 0.006
"""1/K: friction that warmth takes away. Common practice, no source."""
WARM_C = 20.0
MOVES_A_DAY = 4


@dataclass(frozen=True)
class Wear:
    """How a machine changes, as shares of what it was at first."""

    friction_a_week: float = 0.0
    play_a_week: float = 0.0
    from_day: int = 10


@dataclass
class Life:
    """What came of the weeks."""

    report: HealthReport
    noticed: dict[str, int] = field(default_factory=dict)
    """Day on which a notice came, by its name."""
    tripped: int | None = None
    """Day of the first fault."""
    texts: list[str] = field(default_factory=list)
    journal: list[str] = field(default_factory=list)
    kept_bytes: int = 0


class Stopped(SimulatedPort):
    """A port whose machine stands still at night: no tick until the next day's."""

    stopped = False

    def _tick(self, loop: asyncio.AbstractEventLoop) -> None:
        if not self.stopped:
            super()._tick(loop)


def free_lever() -> BuildSheet:
    """A vent whose leaf is balanced: what resists it is friction, so that its teeth go through the play at each reversal."""
    return vent(load={"gravity_nm": 0.0, "friction_nm": 0.9}, rest={"approach": "shortest"})


def machine_of(plant: Plant, wear: Wear, day: int, chance: random.Random) -> Plant:
    """The machine as it is on a day, in that day's weather."""
    weeks = max(0, day - wear.from_day) / 7
    temperature = 14 + 8 * math.sin(day / 25) + chance.gauss(0, 4)
    grease = 1 - GREASE_PER_K * (temperature - WARM_C)
    friction = (1 + wear.friction_a_week * weeks) * grease
    motor, gear, load = plant.motor, plant.gear, plant.load
    return plant.model_copy(
        update={
            "motor": motor.model_copy(
                update={
                    "coulomb_nm": motor.coulomb_nm * friction,
                    "resistance_ohm": motor.resistance_ohm * (1 + COPPER_PER_K * (temperature - WARM_C)),
                }
            ),
            "gear": gear.model_copy(update={"backlash_deg": gear.backlash_deg * (1 + wear.play_a_week * weeks)}),
            "load": load.model_copy(
                update={
                    "friction_nm": load.friction_nm * friction,
                    "gravity_nm": load.gravity_nm * chance.uniform(0.7, 1.4),
                }
            ),
            "supply": plant.supply.model_copy(update={"volts": plant.supply.volts * chance.uniform(0.97, 1.03)}),
        }
    )


def targets(chance: random.Random, day: int) -> list[MoveRequest]:
    """The moves of a day: seldom the same ones, and later in the year more open than early."""
    low, high = chance.uniform(3, 15), chance.uniform(40, 60 + min(day, 14))
    speed = chance.choice([None, None, 14.0])
    return [
        MoveRequest(to_deg=one, speed_deg_s=speed)
        for one in (high, low, high - chance.uniform(0, 8), low)[:MOVES_A_DAY]
    ]


def live(days: int, wear: Wear, seed: int, sheet: BuildSheet | None = None, restart_every: int = 0) -> Life:
    """Let a machine live for some days; the service is started anew every so many."""
    sheet = sheet or vent()
    chance = random.Random(seed)

    async def main(world: World) -> Life:
        store = Store(MEMORY, world)
        await store.open()
        servos: dict[str, Servo] = {}
        watcher = Health(store, servos, world.wall)
        noticed: dict[str, int] = {}
        tripped: int | None = None
        for day in range(days):
            sim = SimulatedServo(sheet, machine_of(plant_of(sheet), wear, day, chance), seed)
            port = Stopped(sim)
            rig = Rig(world, sim, sheet, port)
            record = Recorder(store, (watcher.ended,), watcher.passed_home)
            rig.servo = servos["vent"] = Servo("vent", sheet, port, world, record)
            async with running(rig.servo):
                await rig.armed()
                motion = await rig.servo.home(ANNA)
                await motion.ended()
                for request in targets(chance, day):
                    if motion.state == "faulted":
                        tripped = day
                        break
                    motion = await rig.servo.move(ANNA, request)
                    await motion.ended()
            port.stopped = True
            await watcher.keep()
            if restart_every and day % restart_every == restart_every - 1:
                watcher = Health(store, servos, world.wall)
                await watcher.begin()
            for notice in store.notices.all():
                if notice.kind == NOTICE:
                    noticed.setdefault(notice.name, day)
            if tripped is not None:
                break
            await asyncio.sleep(DAY_S - world.monotonic() % DAY_S + chance.uniform(0, 3600))

        page = await store.journal.page(Search(kinds=("health",)), limit=100)
        states = [await store.state(kind, "vent") for kind in ("health", "health-day")]
        life = Life(
            watcher.report("vent"),
            noticed,
            tripped,
            [notice.text for notice in store.notices.all()],
            [entry.note.text for entry in page.entries],
            len(repr(states)),
        )
        await store.close()
        return life

    return run_virtual(main, seed)
