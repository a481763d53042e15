"""People, faults and cables at random on a good line: every motion gets its end, nothing breaks, and it comes back."""

from __future__ import annotations

import asyncio
import contextlib
import random

import pytest

from geartender.errors import Refused
from geartender.servo.motions import Who
from geartender.servo.requests import MoveRequest, TurnRequest, WhenBusy
from geartender.simulator.device import SimulatedServo
from geartender.world import World
from geartender.world.virtual import run_virtual
from tests.servo.rig import ANNA, BERT, Rig, direct, running, vent
from tests.servo.test_hostile_line import plant

SPOIL = ("jam", "reset", "unplug 0.4", "unplug 2", "load 3", "supply 8")
RIGHT = ("free", "load 0", "supply 12")
PLAY_S = 25.0
CALM_S = 8.0


async def move(rig: Rig, dice: random.Random, who: Who) -> None:
    fields: dict[str, object] = dice.choice([{}, {}, {"speed_deg_s": 6.0}, {"duration_s": 5.0}])
    busy = dice.choice(list(WhenBusy))
    target = round(dice.uniform(0, 75), 2)
    await rig.servo.move(who, MoveRequest(to_deg=target, when_busy=busy, **fields))  # type: ignore[arg-type]


async def turn(rig: Rig, dice: random.Random, who: Who) -> None:
    kind: dict[str, float] = dice.choice([{}, {"for_s": 0.7}, {"turns": 0.04}])
    await rig.servo.turn(who, TurnRequest(speed_deg_s=dice.choice([-15.0, 15.0]), **kind))  # type: ignore[arg-type]


async def jog(rig: Rig, dice: random.Random, who: Who) -> None:
    speed = dice.choice([-20.0, 20.0])
    for _ in range(dice.randint(1, 8)):
        rig.servo.jog(who, speed)
        await asyncio.sleep(0.1)
    rig.servo.end_jog(who)


async def override(rig: Rig, dice: random.Random, who: Who) -> None:
    await rig.servo.set_override(who, dice.choice([0.0, 0.3, 1.0, 1.5]))


async def stop(rig: Rig, dice: random.Random, who: Who) -> None:
    rig.servo.stop(who, dice.choice([0, 1, 2, 2, 2]))


async def take_over(rig: Rig, dice: random.Random, who: Who) -> None:
    rig.servo.take_helm(who, force=dice.random() < 0.3)


async def arm(rig: Rig, dice: random.Random, who: Who) -> None:
    await rig.servo.arm(who)


async def give_up(rig: Rig, dice: random.Random, who: Who) -> None:
    await rig.servo.disarm(who)
    rig.servo.replace_build(dice.choice([direct(), vent()]))


DEEDS = (arm, arm, *([move] * 8), turn, turn, jog, jog, override, override, stop, take_over, give_up)


async def act(rig: Rig, dice: random.Random) -> None:
    """One thing that somebody does. Raises Refused."""
    await dice.choice(DEEDS)(rig, dice, dice.choice([ANNA, ANNA, ANNA, BERT]))


async def repair(rig: Rig) -> None:
    """What a person does after something went wrong."""
    for command in RIGHT:
        rig.sim.command(command)
    with contextlib.suppress(Refused):
        rig.servo.take_helm(ANNA, force=True)
        await rig.servo.reset(ANNA)
        await rig.servo.arm(ANNA)
        await (await rig.servo.home(ANNA)).ended()


async def somebody(rig: Rig, dice: random.Random, until: float) -> None:
    while rig.world.monotonic() < until:
        with contextlib.suppress(Refused):
            await act(rig, dice)
        await asyncio.sleep(dice.expovariate(3))


async def calm(rig: Rig) -> None:
    """Put everything right, and see that it comes back."""
    for command in RIGHT:
        rig.sim.command(command)
    rig.servo.stop(ANNA, 2)
    await rig.until(lambda: all(motion.final for motion in rig.servo.motions()), CALM_S)
    await rig.connected()
    rig.servo.take_helm(ANNA, force=True)
    await rig.servo.set_override(ANNA, 1.0)
    await rig.servo.disarm(ANNA)
    await rig.servo.reset(ANNA)
    rig.servo.replace_build(direct())
    await rig.connected()
    await rig.servo.arm(ANNA)
    home = await rig.servo.home(ANNA)
    await home.ended()
    assert home.state == "done", home.report()
    motion = await rig.go(33)
    assert motion.state == "done"
    assert rig.truth_deg == pytest.approx(33, abs=0.15)


@pytest.mark.parametrize("seed", [*range(3), *(pytest.param(seed, marks=pytest.mark.slow) for seed in range(3, 200))])
def test_every_motion_gets_its_end_and_it_comes_back(seed: int) -> None:
    async def main(world: World) -> None:
        dice = random.Random(seed)
        rig = Rig(world, SimulatedServo(direct(), plant(), seed), direct())
        async with running(rig.servo):
            await rig.connected()
            await repair(rig)
            people = [asyncio.create_task(somebody(rig, random.Random(seed * 7 + n), PLAY_S)) for n in range(2)]
            while world.monotonic() < PLAY_S:
                await asyncio.sleep(dice.uniform(2.0, 6.0))
                rig.sim.command(dice.choice(SPOIL))
                await asyncio.sleep(dice.uniform(0.0, 3.0))
                await repair(rig)
            await asyncio.gather(*people)
            await calm(rig)

    run_virtual(main, seed)
