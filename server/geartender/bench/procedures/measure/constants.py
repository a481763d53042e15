"""The motor's constants and its friction, from all runs and all slow starts together."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from geartender.bench.estimators import motor
from geartender.bench.procedures.measure.runs import Run
from geartender.bench.procedures.places import endless, high, low, middle_cosine
from geartender.bench.procedures.work import Work
from geartender.bench.session import FoundWrong

SKIPPED = 3
"""Counts at the beginning of a run in which the play may be taken up."""

STICKS = 18
"""Counts at the beginning of a slow start in which the train is wound up, and a load that drives it sticks and slips."""

LEAST_SPAN = 0.05
"""Change of the cosine over the travel below which no weight is seen."""


async def constants(work: Work, runs: Sequence[Run], starts: Sequence[Run]) -> motor.Constants:
    """Fit all together. Raises FoundWrong where that says too little."""
    parts = []
    for number, (run, skipped) in enumerate([*((one, SKIPPED) for one in runs), *((one, STICKS) for one in starts)]):
        moved = run.record.count - run.record.count[0]
        angle = np.radians(run.from_deg + moved * work.scale.deg_per_count)
        parts += motor.parts(run.record, number, work.rad_per_count, work.table, np.cos(angle), skipped, slow=run.slow)
    own_v = work.dynamics.motor.friction_nm / work.dynamics.motor.kt_nm_per_a * work.dynamics.motor.resistance_ohm
    try:
        found = await work.session.think(lambda: motor.constants(parts, middle_cosine(work), _weight(work), own_v))
    except ValueError as error:
        raise FoundWrong(
            "too-short",
            f"The runs say too little: {error}.",
            "Give it more travel, or look whether something holds it.",
        ) from None
    work.found("ke_v_s", found.ke_v_s)
    work.found("time_constant_s", found.time_constant_s)
    work.session.say(
        f"The motor makes {found.ke_v_s.value * 1000:.2f} mV for each rad/s (± {found.ke_v_s.uncertainty * 1000:.2f}), and"
        f" follows a voltage with {found.time_constant_s.value * 1000:.0f} ms."
    )
    return found


def _weight(work: Work) -> motor.Weight | None:
    """What the sheet says of the load's weight over the travel, at the motor; None where its cosine hardly changes."""
    ends = np.cos(np.radians(np.linspace(low(work), high(work), 181)))
    middle, least, most = middle_cosine(work), float(ends.min()), float(ends.max())
    if endless(work) or most - least < LEAST_SPAN:
        return None
    below = np.linspace(least, middle, 3)[:-1] if middle - least > LEAST_SPAN else np.zeros(0)
    above = np.linspace(middle, most, 3)[1:] if most - middle > LEAST_SPAN else np.zeros(0)
    cosines = np.concatenate([below, [middle], above])
    load, d = work.session.servo.sheet.load, work.dynamics
    ohm, ke = d.motor.resistance_ohm, d.motor.kt_nm_per_a
    gain = work.scale.nm_per_a / ke
    efficiency = gain / work.dynamics_ratio

    def steps(way: int) -> np.ndarray:
        mesh = load.friction_nm + way * load.gravity_nm * cosines
        # a train that its load drives passes less of it on
        return np.diff(np.where(mesh < 0.0, mesh * efficiency**2, mesh) / gain) * ohm / ke

    return motor.Weight(
        cosines=cosines,
        up_v=steps(1),
        down_v=steps(-1),
        floor_v=0.05 * d.friction_a * ohm,
        accel_per_volt=ke / (ohm * d.inertia_kg_m2),
        noise_rad=0.3 * work.rad_per_count,
    )
