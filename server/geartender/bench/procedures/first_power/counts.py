"""Every count arrives: out at full speed and back, and the mark must be where it was."""

from __future__ import annotations

import math

from geartender.bench.models import Announcement
from geartender.bench.procedures.first_power.moving import GAP_SHARE, counts_lost, listen, plain
from geartender.bench.procedures.places import inward, room
from geartender.bench.procedures.work import Work
from geartender.servo.settings import backlash_deg
from geartender.servo.units import WIRE

TITLE = "Every count arrives"

ROUND_TRIPS = 3

LOST_COUNTS = 3.0
"""Counts that the home mark may be off after the trips: its own repeatability and the play are below."""


async def every_count(work: Work) -> None:
    """Out at full speed and back, several times: the mark must be where it was."""
    session, hands, servo = work.session, work.hands, work.session.servo
    session.step("counts", TITLE)
    limits = servo.sheet.limits
    assert limits is not None  # noqa: S101
    far = min(room(work) * 0.8, 120.0)
    session.fault_expected = True
    async with hands.within(
        Announcement(
            text=f"The output goes out by {far:.0f}° at its full speed and back, {ROUND_TRIPS} times, and homes.",
            moves_deg=room(work) + 15,
            speed_deg_s=limits.speed_deg_s,
            torque_nm=hands.overload_nm,
            time_s=ROUND_TRIPS * 2 * (far / limits.speed_deg_s + 3) + 60,
        )
    ):
        await hands.ready()
        before = servo.live.row.origin
        for _ in range(ROUND_TRIPS):
            await plain(work, inward(work, far))
            await plain(work, inward(work, 3.0))
        gaps, _ = await listen(work)
        motion = await hands.home()
        if not hands.fine(motion):
            raise counts_lost(math.inf)
        lost = (servo.live.row.origin - before) / WIRE
    session.fault_expected = False
    work.plot("Home edge before and after", "", "counts", {"edge": [(0.0, 0.0), (1.0, lost)]}, dots=True)
    allowed = LOST_COUNTS + work.scale.counts(1.2 * backlash_deg(servo.built))
    if abs(lost) > allowed:
        raise counts_lost(lost)
    if gaps > GAP_SHARE:
        raise counts_lost(math.nan)
    session.say(f"After {ROUND_TRIPS} trips the mark is where it was: {abs(lost):.1f} counts off, none lost.")
