"""Runs at held voltages, up and down: the motor's constants and the disc's edges."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geartender.bench.estimators import magnets
from geartender.bench.estimators.record import Record
from geartender.bench.models import Announcement
from geartender.bench.procedures.measure.pace import RUN_S, UNSURE, Pace
from geartender.bench.procedures.places import endless, high, low, room, take_up_deg, to
from geartender.bench.procedures.work import Work, curve

TITLE = "Motor and friction"

EDGE_SHARE = 0.08
"""Share of the travel at each end that no run goes into."""

VOLT_SHARES = (0.45, 0.45, 0.7, 0.7, 1.0, 1.0, 0.85, 0.85)
SLOW_RUNS, SLOW_COUNTS_S, SLOW_S = 4, 200.0, 4.0
"""How many slow runs come first, their counts per s, less than a count in two samples, and their time."""


@dataclass(frozen=True, slots=True)
class Run:
    """A run, and where the output stood when it began."""

    record: Record
    from_deg: float
    slow: bool
    """Whether it hardly accelerates: it tells friction, and nothing of the inertia."""


async def runs(work: Work) -> list[Run]:
    """Run up and down at held voltages and let it coast."""
    session, hands = work.session, work.hands
    session.step("runs", TITLE)
    found: list[Run] = []
    top = session.servo.sheet.motor.supply_v * session.servo.sheet.bridge.max_duty
    pace = Pace(work)
    async with hands.within(
        Announcement(
            text=f"The motor gets a held voltage {len(VOLT_SHARES) + SLOW_RUNS} times, up and down in turn, and coasts out."
            f" The output moves within its travel.",
            moves_deg=room(work),
            speed_deg_s=session.servo.dynamics_top_deg_s * UNSURE,
            torque_nm=0.9 * hands.overload_nm,
            time_s=len(VOLT_SHARES) * (RUN_S + 2) + SLOW_RUNS * (SLOW_S + 2) + 20,
        )
    ):
        await hands.ready()
        await to(work, low(work) + EDGE_SHARE * room(work))
        for number in range(SLOW_RUNS):
            await _run(work, pace, found, 1 if number % 2 == 0 else -1, None)
        for number, share in enumerate(VOLT_SHARES):
            await _run(work, pace, found, 1 if number % 2 == 0 else -1, share * top)
    records = [one.record for one in found]
    work.magnets = list(await _table(work, records))
    rows = {f"run {number}": curve(record) for number, record in enumerate(records, 1)}
    work.plot("Runs at a held voltage", "s", "counts", rows)
    return found


async def _run(work: Work, pace: Pace, found: list[Run], way: int, wanted: float | None) -> None:
    """A run at the wanted voltage, or one so slow that each edge of the disc is seen by itself."""
    hands = work.hands
    here = hands.angle_deg
    space = (high(work) - here if way > 0 else here - low(work)) - EDGE_SHARE * room(work)
    if wanted is None:
        volts = (pace.drag_v(1) + pace.drag_v(-1)) / 2 + SLOW_COUNTS_S / work.dynamics.counts_per_volt_second
        for_s = min(SLOW_S, 0.9 * space / (SLOW_COUNTS_S * work.scale.deg_per_count))
    else:
        volts, for_s = pace.fitting(way, wanted, space - take_up_deg(work))
    if for_s <= 0.0:
        return
    await hands.trial(hands.open_loop(0.9 * hands.overload_nm))
    await hands.arm()
    began = hands.count
    take_up = work.scale.counts(take_up_deg(work)) + 4
    await hands.volts(way * min(2.0 * pace.drag_v(way), volts), 1.0, lambda: abs(hands.count - began) > take_up)
    await hands.arm()
    here = hands.angle_deg
    async with hands.recorded() as recording:
        await hands.volts(way * volts, for_s, lambda: _at_edge(work, way))
    record = work.keep(f"run-{len(found) + 1}", recording)
    found.append(Run(record, here, wanted is None))
    if wanted is not None:
        pace.learn(way, volts, record, work.scale.deg_per_count)


def _at_edge(work: Work, way: int) -> bool:
    """Whether it has come as near to the end of the travel as a run may."""
    left = high(work) - work.hands.angle_deg if way > 0 else work.hands.angle_deg - low(work)
    return not endless(work) and left < 0.6 * EDGE_SHARE * room(work)


async def _table(work: Work, records: list[Record]) -> np.ndarray:
    """The disc's edges by all runs."""
    try:
        table, spread = await work.session.think(lambda: magnets.edges(records, work.edges))
    except ValueError as error:
        work.session.say(f"The disc's edges stay as they are on the sheet: {error}.")
        return np.zeros(work.edges)
    share = float(np.abs(table).max()) / 4
    work.session.say(f"The disc's edges lie up to {share:.1%} of a mark off their places, known to {spread / 4:.1%}.")
    work.plot(
        "Edges of the disc", "edge", "counts off", {"edge": [(k, float(v)) for k, v in enumerate(table)]}, dots=True
    )
    work.magnet_spread = spread
    return table
