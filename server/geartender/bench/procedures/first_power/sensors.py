"""Both sensors of the disc, turned by hand."""

from __future__ import annotations

import asyncio

from geartender.bench.models import Announcement, Question
from geartender.bench.procedures.work import Work
from geartender.bench.session import FoundWrong

TITLE = "Both sensors, by hand"

BY_HAND_S = 60.0
"""s to turn the shaft by hand in."""

HAND_RESTS_S = 1.0
"""s without a count after which the hand has let go."""

BY_HAND_COUNTS = 8
"""Counts one way that prove both sensors: two marks."""

BY_HAND_LEAST = 3
"""Changes of one sensor alone that prove the other dead."""


async def by_hand(work: Work) -> None:
    """Edges of both sensors while the shaft is turned by hand; nothing is driven."""
    session, servo = work.session, work.session.servo
    session.step("sensors", TITLE)
    await work.hands.trial(None)
    await session.announce(
        Announcement(
            text="Nothing is driven. Turn the motor's shaft by hand, one or two whole turns, slowly, always the same way.",
            moves_deg=0.0,
            speed_deg_s=0.0,
            torque_nm=0.0,
            time_s=BY_HAND_S,
        )
    )
    began = servo.live.row.count
    before = await servo.levels()
    changes, far, waited = {"a": 0, "b": 0}, 0, 0.0
    while waited < BY_HAND_S:
        now = await servo.levels()
        changes["a"] += now.disc_a != before.disc_a
        changes["b"] += now.disc_b != before.disc_b
        before = now
        far = max(far, abs(servo.live.row.count - began))
        if far >= BY_HAND_COUNTS and min(changes.values()) >= 1:
            work.sensors_seen = True
            await _one_turn(work, began)
            return
        if max(changes.values()) >= 2 * BY_HAND_LEAST and min(changes.values()) == 0:
            break
        await asyncio.sleep(0.03)
        waited += 0.03
    dead = [name for name, seen in changes.items() if seen == 0]
    if len(dead) == 2 and far == 0:
        session.say("No edge was seen by hand. The nudge shows whether the sensors or the hand did nothing.")
        return
    if len(dead) == 1:
        raise dead_sensor(work, dead[0])
    session.say(f"{far} counts were seen by hand.")


async def _one_turn(work: Work, began: int) -> None:
    """Wait until the hand has let go, and ask how many turns it made: the surest way to count the marks."""
    session, hands = work.session, work.hands
    await hands.still(HAND_RESTS_S)
    counts = abs(hands.count - began)
    session.say(f"Both sensors see the marks: {counts} counts one way.")
    turns = await session.ask(
        Question(
            id="turns",
            kind="number",
            unit="turns",
            text="How many whole turns of the motor's shaft was that? Leave it out if you could not see it.",
            optional=True,
        )
    )
    if turns:
        work.marks_seen = counts / abs(float(turns)) / 4
        session.say(
            f"That makes {work.marks_seen:.1f} marks a turn; the sheet says {session.servo.sheet.disc.marks_per_turn}."
        )


def dead_sensor(work: Work, which: str) -> FoundWrong:
    pins = work.session.servo.sheet.pins
    pin, other = (pins.disc_a, "b") if which == "a" else (pins.disc_b, "a")
    return FoundWrong(
        f"sensor-{which}-dead",
        f"Sensor {which.upper()} of the disc (GPIO {pin}) never changes, while sensor {other.upper()} does.",
        f"Look at the wire from sensor {which.upper()} to GPIO {pin}, at its supply, and at its distance to the disc.",
    )
