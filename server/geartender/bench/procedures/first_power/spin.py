"""Runs away from home: the disc's cells, and the counts for a volt."""

from __future__ import annotations

import numpy as np

from geartender.bench.procedures.first_power.disc import whole_disc
from geartender.bench.procedures.first_power.gentle import Gentle
from geartender.bench.procedures.first_power.sweep import sweep, wrong_mark
from geartender.bench.procedures.places import beyond, room
from geartender.bench.procedures.work import Work

SPIN_S, SPIN_LEAST_S, SPIN_SHARE = 1.2, 0.35, 0.35
"""s of the run away from home, and the share of the travel that it may take, coasting included."""

SLOWER = 0.65
"""Share of the voltage of the first run that the second has."""


async def spin(work: Work, gentle: Gentle) -> None:
    """Away from home at a held voltage: the disc's cells, the counts for a volt, and whether the mark is left behind."""
    session, hands, d = work.session, work.hands, work.dynamics
    sheet = session.servo.sheet
    assert sheet.home is not None  # noqa: S101
    way = 1 if sheet.home.seek == "down" else -1
    drag = d.friction_a * d.motor.resistance_ohm
    supply = sheet.motor.supply_v
    volts, for_s = min(0.5 * supply, drag + 0.35 * supply), SPIN_S
    speed = (volts - drag) * d.counts_per_volt_second * work.scale.deg_per_count
    decel = d.friction_a * d.motor.kt_nm_per_a / d.inertia_kg_m2 * work.scale.deg_per_count * d.counts_per_rad
    space = SPIN_SHARE * room(work) / 1.5
    while speed * for_s + speed**2 / (2 * decel) > space and for_s > SPIN_LEAST_S:
        for_s *= 0.9
    while speed * for_s + speed**2 / (2 * decel) > space and volts > 1.6 * drag:
        volts *= 0.95
        speed = (volts - drag) * d.counts_per_volt_second * work.scale.deg_per_count
    await hands.trial({**hands.open_loop(0.9 * hands.overload_nm), **beyond(work, 30)})
    await hands.arm()
    for name, there in (("out", way), ("out-slowly", SLOWER * way)):
        async with hands.recorded() as recording:
            await hands.volts(there * max(volts, 2.2 * drag), for_s)
        work.spins.append(work.keep(name, recording))
        await hands.arm()
    record = work.spins[0]
    if float(np.mean(record.mark)) > 0.5:
        wrong = wrong_mark(work, await sweep(work, gentle))
        if wrong is not None:
            raise wrong
    await whole_disc(work, work.spins)
    session.say("Home is found, and the mark is left behind on the way out.")
