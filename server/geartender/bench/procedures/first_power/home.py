"""Home, and the mark over the whole way where it is not found."""

from __future__ import annotations

import math

from geartender.bench.estimators import mark
from geartender.bench.models import Announcement
from geartender.bench.procedures.first_power.gentle import Gentle
from geartender.bench.procedures.first_power.moving import counts_lost, plain
from geartender.bench.procedures.first_power.spin import spin
from geartender.bench.procedures.first_power.sweep import sweep, wrong_mark
from geartender.bench.procedures.over_the_mark import over_the_mark, reach_deg, seek_way, tell_width
from geartender.bench.procedures.places import PASS_DEG_S, inward, room
from geartender.bench.procedures.work import Work
from geartender.bench.session import FoundWrong
from geartender.servo.models import MotionState
from geartender.servo.units import WIRE

TITLE = "Home, from both sides"

ON_MARK_DEG = 1.0
"""deg behind the mark's edge at which the second search begins."""


async def find_home(work: Work) -> None:
    """Home, then pass the mark both ways; where it is not found, look at the sensor over the whole way."""
    session, hands, servo = work.session, work.hands, work.session.servo
    sheet = servo.sheet
    session.step("home", TITLE)
    assert sheet.home is not None and sheet.limits is not None  # noqa: S101, PT018 - claim has looked
    session.fault_expected = True
    way = room(work) + 12
    torque = hands.overload_nm
    gentle = Gentle.within(work, torque, min(sheet.home.speed_deg_s, sheet.limits.speed_deg_s))
    async with hands.within(
        Announcement(
            text=f"The output looks for its home mark, at most {way:.0f}° away, passes it slowly, and looks for it again from"
            f" there; if that fails, it goes once over the whole way.",
            moves_deg=2 * way,
            speed_deg_s=gentle.speed_deg_s * 1.5,
            torque_nm=torque,
            time_s=8 * way / gentle.speed_deg_s + 80,
        )
    ):
        await hands.trial(gentle.homing(work))
        await hands.arm()
        motion = await hands.home()
        if not hands.fine(motion):
            await _why_no_home(work, gentle, motion.state, motion.reason)
        await spin(work, gentle)
        await _from_the_mark(work, gentle)
    session.fault_expected = False


async def _from_the_mark(work: Work, gentle: Gentle) -> None:
    """Pass the whole mark, and find home once more, from on the mark: the edge must be where it was. Raises FoundWrong."""
    session, hands, servo = work.session, work.hands, work.session.servo
    first = servo.live.row.origin
    speed = min(gentle.speed_deg_s, PASS_DEG_S)
    reach = reach_deg(work)
    await hands.ready()
    await plain(work, inward(work, reach))
    tell_width(work, mark.passages(await over_the_mark(work, gentle.push_nm, speed, 0)))
    if servo.snapshot().fault is None:
        await hands.speed(seek_way(work) * speed, (reach + ON_MARK_DEG) / speed, hands.stuck())
    if servo.snapshot().fault is None:
        await hands.trial(gentle.homing(work))
        await hands.arm()
        again = await hands.home()
        if not hands.fine(again):
            await _why_no_home(work, gentle, again.state, again.reason)
    else:
        raise counts_lost(math.nan)
    off = (servo.live.row.origin - first) / WIRE
    work.plot("Home edge from both sides", "", "counts", {"edge": [(0.0, 0.0), (1.0, off)]}, dots=True)
    session.say(
        f"Found again from on the mark, home lies {abs(off):.1f} counts off ({abs(off) * work.scale.deg_per_count:.2f}°)."
    )


async def _why_no_home(work: Work, gentle: Gentle, state: MotionState, reason: str | None) -> None:
    """The mark along the whole way says what is wrong with it. Raises FoundWrong."""
    session, servo = work.session, work.session.servo
    if state is MotionState.STOPPED and servo.snapshot().fault is None:
        raise FoundWrong("home", f"Homing ended early: {reason}.", "Begin again.")
    if servo.snapshot().fault is not None:
        await servo.reset(session.who)
    wrong = wrong_mark(work, await sweep(work, gentle))
    if wrong is not None:
        raise wrong
    raise FoundWrong(
        "home-not-found",
        f"Homing failed ({reason}), though the mark is there.",
        "Look whether something stops the lever on its way; set home.seek to the side on which the mark lies.",
    )
