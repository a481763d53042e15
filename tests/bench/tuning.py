"""The same moves by the sheet alone, and as measured and tuned; and the loop's margin on the true machine."""

from __future__ import annotations

import asyncio
import math
from dataclasses import dataclass

import numpy as np

from geartender.bench.estimators.identification import largest_sensitivity, position_loop
from geartender.bench.procedures.measure import measure
from geartender.bench.procedures.tune import tune
from geartender.build import BuildSheet
from geartender.build.measured import Measured, Tuning
from geartender.servo.settings import LAG_S
from geartender.simulator.device import SimulatedServo
from geartender.simulator.plant import Plant
from geartender.world import World
from geartender.world.virtual import run_virtual
from tests.bench.kit import at_bench
from tests.bench.plants import loaded_inertia
from tests.servo.rig import Rig, running

WORSE, WORSE_S = 1.05, 0.05
"""What moves may be worse by on the average and still be no worse: they repeat within that by themselves."""

MOVES = 60
"""Of them: one in a dozen sticks beside its target and takes longer than all others, before and after."""


@dataclass
class Compared:
    """Following, settling and margin."""

    rms_before: float
    rms_after: float
    settle_before: float
    settle_after: float
    ms: float

    @property
    def no_worse(self) -> bool:
        return self.rms_after <= self.rms_before * WORSE and self.settle_after <= self.settle_before + WORSE_S


def tuned_against_untuned(sheet: BuildSheet, plant: Plant, seed: int) -> Compared:
    """Measure and tune a machine, then hold both against each other on moves of their own."""
    measured = at_bench(measure, sheet, plant, seed).measured
    assert measured is not None
    tuned = at_bench(tune, sheet, plant, seed, measured=measured).measured
    assert tuned is not None
    before, after = moves(sheet, plant, seed, None), moves(sheet, plant, seed, tuned)
    ms = 1.0 if tuned.tuning is None else true_ms(plant, tuned.tuning)
    return Compared(before[0], after[0], before[1], after[1], ms)


def true_ms(plant: Plant, tuning: Tuning) -> float:
    """The largest sensitivity of the loop with these gains on the true motor, rigid and without friction."""
    motor = plant.motor
    counts = 4 * plant.disc.marks / math.tau
    lag = motor.resistance_ohm * loaded_inertia(plant) / motor.ke_v_s**2
    loop = position_loop(
        counts / motor.ke_v_s, lag, LAG_S, tuning.kp_v_per_count, tuning.ki_v_per_count_s, tuning.damping
    )
    return largest_sensitivity(loop)


def moves(sheet: BuildSheet, plant: Plant, seed: int, measured: Measured | None) -> tuple[float, float]:
    """Following error (rms, degrees) and settling (s) of some moves, of the true output."""
    travel = sheet.travel
    assert travel is not None
    low, high = travel.min_deg or 0.0, travel.max_deg or 0.0

    async def main(world: World) -> tuple[float, float]:
        rig = Rig(world, SimulatedServo(sheet, plant, seed), sheet)
        async with running(rig.servo):
            if measured is not None:
                rig.servo.replace_measured(measured)
            await rig.homed()
            off, settle = [], []
            for share in np.random.default_rng(seed).uniform(0.05, 0.95, MOVES):
                motion = await rig.go(low + float(share) * (high - low))
                assert motion.state == "done", motion.report()
                rows = [row for row in motion.trace_rows() if row.reference_deg is not None]
                off += [row.reference_deg - row.angle_deg for row in rows if row.angle_deg is not None]
                settle.append((motion.actual_s or 0.0) - (motion.planned_s or 0.0))
                await asyncio.sleep(0.2)
            return float(np.sqrt(np.mean(np.square(off)))), float(np.mean(settle))

    return run_virtual(main, seed)
