"""How far it really goes: teeth and marks against a protractor."""

from __future__ import annotations

import numpy as np

from geartender.bench.estimators.record import Record
from geartender.bench.models import Announcement, Question
from geartender.bench.procedures.first_power.disc import CLEAR, pattern
from geartender.bench.procedures.first_power.moving import plain
from geartender.bench.procedures.places import endless, inward, room
from geartender.bench.procedures.work import Work
from geartender.bench.session import FoundWrong

TITLE = "How far it really goes"

ANGLE_SHARE = 0.07
"""Share by which what a protractor shows may differ from what was asked: reading it is no better."""

SPEED_SHARE = 0.17
"""Share by which a motor may differ from its data sheet."""


async def how_far(work: Work) -> None:
    """A move that a protractor is held against, and the speed for a volt: they tell teeth from marks."""
    session, hands, servo = work.session, work.hands, work.session.servo
    session.step("travel", TITLE)
    session.fault_expected = True
    far = round(min(room(work) * 0.4, 40.0)) if not endless(work) else 90.0
    async with hands.within(
        Announcement(
            text=f"The output goes inward by {far:g}°; have a protractor ready, or marks on paper.",
            moves_deg=room(work) + 10,
            speed_deg_s=servo.sheet.limits.speed_deg_s if servo.sheet.limits else 0.0,
            torque_nm=hands.overload_nm,
            time_s=60,
        )
    ):
        # a machine whose scale is wrong cannot keep to what its sheet says, and must not give up for that
        await hands.trial(hands.easy(0.9 * hands.overload_nm))
        await hands.arm()
        await plain(work, inward(work, 0.08 * room(work)), 0.4)
        await session.ask(Question(id="angle-from", kind="go", text="Mark where the lever stands now, then go on."))
        await plain(work, inward(work, 0.08 * room(work) + far), 0.4)
        seen = await session.ask(
            Question(
                id="angle",
                kind="number",
                unit="°",
                text=f"By how many degrees did the lever turn, by your protractor? It was to be {far:g}°.",
                optional=True,
            )
        )
    if seen is None:
        session.say("Nobody held a protractor against it, so teeth and marks are taken from the sheet.")
        return
    await _teeth_or_marks(work, abs(float(seen)) / far, _speed_per_volt(work))
    session.say(f"It turned by {abs(seen):g}°, as asked ({far:g}°).")


def _speed_per_volt(work: Work) -> float:
    """Counts a second for a volt over those of the sheet, by the difference of the runs: weight and friction fall out."""
    d = work.dynamics
    (quick, volts), (slow, less) = (_even(record) for record in work.spins)
    return (quick - slow) / (volts - less) / d.counts_per_volt_second


def _even(record: Record) -> tuple[float, float]:
    """Counts a second and volts of the last third of a run's drive."""
    driven = np.flatnonzero(record.duty != 0.0)
    first, last = int(driven[len(driven) * 2 // 3]), int(driven[-1])
    rate = abs(int(record.count[last] - record.count[first])) / float(record.t_s[last] - record.t_s[first])
    return rate, abs(float(np.mean(record.volts[first:last])))


async def _teeth_or_marks(work: Work, angle: float, speed: float) -> None:
    """What is wrong with a machine whose angles are wrong. Raises FoundWrong."""
    if abs(angle - 1) <= ANGLE_SHARE:
        return
    sheet = work.session.servo.sheet
    marks = sheet.disc.marks_per_turn
    real = marks / angle
    by_speed = abs(speed * angle - 1) < abs(speed - 1) and abs(speed - 1) > SPEED_SHARE / 2
    as_written = await work.session.think(lambda: pattern(work.spins, marks))
    as_seen = await work.session.think(lambda: pattern(work.spins, round(real)))
    clear = max(as_written, as_seen) > CLEAR and max(as_written, as_seen) > 2 * min(as_written, as_seen)
    if work.marks_seen:  # counted by hand: whichever is nearer
        by_marks = abs(work.marks_seen - real) < abs(work.marks_seen - marks)
    else:
        by_marks = as_seen > as_written if clear else by_speed
    if by_marks:
        raise FoundWrong(
            "marks-wrong",
            f"The lever turns by {angle:.2f} times what is asked, and the disc counts {speed:.2f} times too quick.",
            f"The sheet says disc.marks_per_turn = {marks}; count them, it looks like {real:.1f}.",
        )
    raise FoundWrong(
        "ratio-wrong",
        f"The lever turns by {angle:.2f} times what is asked, while the disc counts as it should.",
        f"The sheet's gears are not those that are built in: the ratio looks like {work.dynamics_ratio / angle:.4g},"
        f" not {work.dynamics_ratio:.4g}. Count the teeth of every [[mesh]].",
    )
