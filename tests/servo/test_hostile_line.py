"""The whole service against the firmware's core on simulated mechanics, over a hostile line, in virtual time.

Whatever the line does: no motion without arm and start, none carried out twice, none beyond the travel, and in step again
after one good line. The same seed gives the same log.
"""

from __future__ import annotations

import asyncio
import contextlib
import random
from dataclasses import dataclass, field

import pytest

from geartender.errors import Refused
from geartender.firmware import tick
from geartender.servo.requests import MoveRequest, TurnRequest
from geartender.simulator.board import CPythonBoard
from geartender.simulator.device import SimulatedServo
from geartender.simulator.in_memory import SimulatedPort
from geartender.simulator.plant import Plant, plant_of
from geartender.world import World
from geartender.world.virtual import run_virtual
from tests.link.hostile import MIXES, HostileLine, HostilePort
from tests.servo.rig import ANNA, Rig, direct, running

SHEET = direct(home={"angle_deg": 0, "seek": "down", "speed_deg_s": 20}, load={"stiffness_nm_per_deg": None})
MARGIN_DEG = 2.0 + 0.5
"""deg beyond the travel at which the firmware's guard acts, and what a disc and a coasting motor add."""

HOSTILE_S = 4.5
"""Virtual seconds of a hostile line."""

FAST_SEEDS = (*range(8), *range(8, len(MIXES), 2))
"""Each error alone, and every second pair."""

SLOW_SEEDS = 1000
CHUNK = 10


def plant() -> Plant:
    """Rigid and near its home mark: quick to compute, and quick to home."""
    whole = plant_of(SHEET)
    gear = whole.gear.model_copy(update={"backlash_deg": 0.0, "stiffness_nm_per_deg": 0.0})
    return whole.model_copy(update={"gear": gear, "start_deg": 2.0})


@dataclass
class Watch:
    """Looks into the firmware after every tick: which motions it carried out, and where the lever went."""

    sim: SimulatedServo
    begun: list[int] = field(default_factory=list)
    moved_without: float = 0.0
    beyond: float = 0.0
    """deg outside the travel, while the position was known; before that only the end stops know."""
    _motion: int = 0
    _quiet_from: float | None = None
    _quiet_ticks: int = 0

    def look(self) -> None:
        board = self.sim._board
        assert isinstance(board, CPythonBoard)
        state = board.core.state
        motion, angle = state[tick.MOTION], self.sim.truth().output_deg
        if motion and motion != self._motion:
            self.begun.append(motion)
        self._motion = motion
        if state[tick.HOMED] and state[tick.LABEL] != tick.HOMING:
            self.beyond = max(self.beyond, -angle, angle - 75)
        self._rest(angle, quiet=motion == 0 and state[tick.LABEL] in (tick.READY, tick.DISARMED, tick.FAULTED))

    def _rest(self, angle: float, quiet: bool) -> None:
        """A second after everything ended, the lever stands still."""
        self._quiet_ticks = self._quiet_ticks + 1 if quiet else 0
        if self._quiet_ticks < 500:
            self._quiet_from = None
        elif self._quiet_from is None:
            self._quiet_from = angle
        else:
            self.moved_without = max(self.moved_without, abs(angle - self._quiet_from))


async def attempt(rig: Rig, dice: random.Random) -> None:
    """One thing that a person might do. Raises Refused."""
    servo = rig.servo
    match dice.randrange(9):
        case 0 | 1:
            if servo.snapshot().fault is not None:
                await servo.reset(ANNA)
            await servo.arm(ANNA)
        case 2:
            await servo.home(ANNA)
        case 3 | 4 | 5:
            await servo.move(ANNA, MoveRequest(to_deg=round(dice.uniform(0.5, 8), 2)))
        case 6:
            await servo.turn(ANNA, TurnRequest(speed_deg_s=dice.choice([-6.0, 6.0]), for_s=0.4))
        case 7:
            for _ in range(4):
                servo.jog(ANNA, dice.choice([-5.0, 5.0]))
                await asyncio.sleep(0.1)
        case 8:
            servo.stop(ANNA, dice.randrange(3))


def play(seed: int) -> tuple[Watch, list[tuple[float, str, bytes]]]:
    """One seed: some seconds of a hostile line, then a good one."""
    found: list[Watch] = []
    logs: list[list[tuple[float, str, bytes]]] = []

    async def main(world: World) -> None:
        sim = SimulatedServo(SHEET, plant(), seed)
        watch = Watch(sim)
        advance = sim.advance

        def watched(to_us: int) -> None:
            advance(to_us)
            watch.look()

        sim.advance = watched  # type: ignore[method-assign]
        line = HostileLine(random.Random(seed), MIXES[seed % len(MIXES)])
        rig = Rig(world, sim, SHEET, HostilePort(SimulatedPort(sim), line))
        dice = random.Random(seed + 1_000_000)
        async with running(rig.servo):
            await watched_unarmed(rig, watch)
            with contextlib.suppress(Refused):
                await rig.servo.arm(ANNA)
                await rig.servo.home(ANNA)
            while world.monotonic() < HOSTILE_S:
                with contextlib.suppress(Refused):
                    await attempt(rig, dice)
                await asyncio.sleep(dice.uniform(0.0, 0.4))
            line.hostile = False
            await in_step_again(rig)
            numbers = {int(motion.id, 16) for motion in rig.servo.motions()}
            assert set(watch.begun) <= numbers, "a motion that nobody asked for"
        found.append(watch)
        logs.append(line.log)

    run_virtual(main, seed)
    return found[0], logs[0]


async def watched_unarmed(rig: Rig, watch: Watch) -> None:
    """Before anybody arms, nothing is begun."""
    await asyncio.sleep(0.8)
    assert not watch.begun


async def in_step_again(rig: Rig) -> None:
    """On a good line it connects, answers, and can be armed."""
    rig.servo.stop(ANNA, 0)
    await rig.until(lambda: rig.servo.snapshot().link.state == "connected" and not rig.servo.snapshot().armed, 4.0)
    await asyncio.sleep(2.1)  # what was delayed has arrived by now
    await rig.connected()
    await rig.servo.reset(ANNA)
    await rig.servo.arm(ANNA)
    assert rig.servo.snapshot().armed


def check(seed: int) -> None:
    watch, _ = play(seed)
    assert len(watch.begun) == len(set(watch.begun)), f"seed {seed}: a motion was carried out twice"
    assert watch.moved_without < 0.3, f"seed {seed}: it moved without a motion"
    assert watch.beyond < MARGIN_DEG, f"seed {seed}: it left the travel"


@pytest.mark.parametrize("seed", FAST_SEEDS, ids=lambda seed: " and ".join(MIXES[seed % len(MIXES)]))
def test_each_error_alone_and_in_pairs(seed: int) -> None:
    check(seed)


@pytest.mark.slow
@pytest.mark.timeout(600)
@pytest.mark.parametrize("first", range(0, SLOW_SEEDS, CHUNK))
def test_a_thousand_seeds(first: int) -> None:
    for seed in range(first, first + CHUNK):
        check(seed)


@pytest.mark.parametrize("seed", [5, 17])
def test_the_same_seed_gives_the_same_log(seed: int) -> None:
    assert play(seed)[1] == play(seed)[1]
