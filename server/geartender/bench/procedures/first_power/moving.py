"""Plain moves, and listening to the counts one by one: a move that fails tells lost edges from something in the way."""

from __future__ import annotations

import asyncio
import math

import numpy as np

from geartender.bench.estimators.record import Record
from geartender.bench.procedures.first_power.disc import whole_disc
from geartender.bench.procedures.places import beyond, inward, room
from geartender.bench.procedures.work import Work
from geartender.bench.session import FoundWrong
from geartender.servo.models import MotionState
from geartender.servo.requests import MoveRequest

LISTEN_COUNTS_S, LISTEN_COUNTS = 60.0, 600
"""Counts per s so slow that each is seen for several ticks, and how many to listen to."""

GAP_TIMES, GAP_SHARE = 1.5, 0.004
"""Times the usual at which a count lasts as long as two, and the share of such from which edges are being lost."""


async def listen(work: Work) -> tuple[float, Record]:
    """Turn slowly, and tell the share of counts that last as long as two: there an edge was lost."""
    hands = work.hands
    sheet = work.session.servo.sheet
    assert sheet.home is not None and sheet.limits is not None  # noqa: S101, PT018
    middle = inward(work, room(work) / 2)
    way = 1 if middle >= hands.angle_deg or math.isnan(hands.angle_deg) else -1
    counts = min(LISTEN_COUNTS, work.scale.counts(0.5 * room(work)))
    speed = min(LISTEN_COUNTS_S * work.scale.deg_per_count, sheet.limits.speed_deg_s)
    await hands.trial({**hands.easy(hands.overload_nm), **beyond(work, 5)})
    await hands.arm()
    async with hands.recorded() as recording:
        await hands.speed(way * speed, counts * work.scale.deg_per_count / speed)
    record = work.keep("listen", recording)
    edges = np.flatnonzero(np.diff(record.count) != 0)
    lasts = np.diff(edges)[8:-8].astype(float)
    if len(lasts) < 40:
        return 0.0, record
    around = np.array([np.median(lasts[max(0, at - 8) : at + 9]) for at in range(len(lasts))])
    return float(np.mean(lasts > GAP_TIMES * around + 1.0)), record


async def plain(work: Work, deg: float, share: float = 1.0) -> None:
    """An ordinary move; where it ends in a fault, a slow turn tells lost edges from something in the way. Raises FoundWrong."""
    limits = work.session.servo.sheet.limits
    assert limits is not None  # noqa: S101 - a servo without cannot be claimed
    request = MoveRequest(to_deg=deg, speed_deg_s=share * limits.speed_deg_s)
    motion = await work.session.servo.move(work.session.who, request)
    await motion.ended()
    if motion.state is MotionState.DONE:
        await asyncio.sleep(0.1)
        return
    if motion.state is not MotionState.FAULTED:
        raise FoundWrong("move", f"A plain move did not end as it should: {motion.reason}.", "Begin again.")
    fault = work.session.servo.snapshot().fault
    await work.session.servo.reset(work.session.who)
    gaps, record = await listen(work)
    await whole_disc(work, [record])
    if (fault is not None and fault.cause == "sensor-error") or gaps > GAP_SHARE:
        raise counts_lost(math.nan)
    raise FoundWrong(
        "in-the-way",
        f"A plain move ended in a fault: {motion.reason}",
        "Look whether something is in the way of the lever, or catches in the gears, at that angle; then begin again.",
    )


def counts_lost(counts: float) -> FoundWrong:
    many = f"{abs(counts):.0f} counts" if math.isfinite(counts) else "Counts"
    return FoundWrong(
        "counts-lost",
        f"{many} were lost on the way out and back: the home mark is not where it was.",
        "Look at the distance of the sensors to the disc, at long wires beside the motor's, and at the pull-ups; a wheel that slips"
        " does the same.",
    )
