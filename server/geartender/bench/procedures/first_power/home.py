"""Home, and the mark over the whole way where it is not found."""

from __future__ import annotations

from geartender.bench.models import Announcement
from geartender.bench.procedures.first_power.gentle import Gentle
from geartender.bench.procedures.first_power.spin import spin
from geartender.bench.procedures.first_power.sweep import sweep, wrong_mark
from geartender.bench.procedures.places import room
from geartender.bench.procedures.work import Work
from geartender.bench.session import FoundWrong
from geartender.servo.models import MotionState

TITLE = "Home, from both sides"


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
            text=f"The output looks for its home mark, at most {way:.0f}° away; if that fails, it goes once over the whole way.",
            moves_deg=2 * way,
            speed_deg_s=gentle.speed_deg_s * 1.5,
            torque_nm=torque,
            time_s=8 * way / gentle.speed_deg_s + 40,
        )
    ):
        await hands.trial(gentle.homing(work))
        await hands.arm()
        motion = await hands.home()
        if not hands.fine(motion):
            await _why_no_home(work, gentle, motion.state, motion.reason)
        await spin(work, gentle)
    session.fault_expected = False


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
