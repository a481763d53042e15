"""The nudge: which way is up, and do motor and sensors agree."""

from __future__ import annotations

import asyncio

import numpy as np

from geartender.bench.estimators.record import Record
from geartender.bench.models import Announcement, Question
from geartender.bench.procedures.first_power.sensors import dead_sensor
from geartender.bench.procedures.work import TORQUE_SHARE, Work
from geartender.bench.session import FoundWrong
from geartender.servo.settings import backlash_deg

TITLE = "A nudge: which way is up"

NUDGE_DEG = 4.0
"""deg that a nudge moves the output at most."""

NUDGE_S = 3.0
"""s in which the voltage grows."""

NUDGE_COUNTS = 24
"""Counts after which a nudge has shown enough, where they are fewer degrees."""


async def the_nudge(work: Work) -> None:
    """A voltage that grows slowly until the disc turns; then the person says which way the lever went."""
    session, hands, servo = work.session, work.hands, work.session.servo
    session.step("nudge", TITLE)
    torque = TORQUE_SHARE * hands.overload_nm
    play = 1.5 * backlash_deg(servo.built)
    counts = max(min(NUDGE_COUNTS, work.scale.counts(NUDGE_DEG)), work.scale.counts(1.2 + play))
    supply = servo.sheet.motor.supply_v
    async with hands.within(
        Announcement(
            text="The motor gets a voltage upwards that grows slowly until it turns; the output moves by a few degrees."
            " Look which way it goes.",
            moves_deg=NUDGE_DEG * 3 + play,
            speed_deg_s=servo.dynamics_top_deg_s,
            torque_nm=torque,
            time_s=NUDGE_S + 1,
        )
    ):
        await hands.trial(hands.open_loop(torque, NUDGE_S))
        await hands.arm()
        began = hands.count
        seen: set[tuple[int, int]] = set()
        async with hands.recorded() as recording:
            watch = asyncio.create_task(_levels(work, seen))
            await hands.volts(0.8 * supply, NUDGE_S, lambda: abs(hands.count - began) >= counts)
            watch.cancel()
        record = work.keep("nudge", recording)
    moved = int(record.count[-1] - record.count[0])
    work.plot(
        "The nudge",
        "s",
        "counts",
        {"count": [(float(t), float(c)) for t, c in zip(record.t_s, record.count - record.count[0], strict=True)]},
    )
    way = await session.ask(
        Question(
            id="way",
            kind="choice",
            text=f"Which way did the lever move? Up is “{_word(work, 1)}”.",
            choices=["up", "down", "not at all"],
        )
    )
    _judge(work, moved, way, seen, record)
    session.say("Driven up, the lever goes up and the count rises.")


async def _levels(work: Work, seen: set[tuple[int, int]]) -> None:
    while True:
        now = await work.session.servo.levels()
        seen.add((now.disc_a, now.disc_b))
        await asyncio.sleep(0.01)


def _word(work: Work, way: int) -> str:
    travel = work.session.servo.sheet.travel
    return "up" if travel is None else travel.up_word if way > 0 else travel.down_word


def _judge(work: Work, moved: int, way: str, seen: set[tuple[int, int]], record: Record) -> None:
    """What count and lever say together. Raises FoundWrong."""
    changes = int(np.count_nonzero(np.diff(record.count)))
    if changes >= 6 and abs(moved) <= 2:
        levels = list(zip(*seen, strict=True))
        dead = "a" if len(set(levels[0])) == 1 else "b"
        raise dead_sensor(work, dead)
    if abs(moved) <= 2:
        if way == "not at all":
            raise FoundWrong(
                "no-drive",
                "Neither the lever nor the disc moved, at the highest voltage that the sheet makes harmless.",
                "Look at the motor's wires and plugs, the bridge's supply and enable, and the pins pwm_a and pwm_b; then whether it"
                " is stuck.",
            )
        raise FoundWrong(
            "sensors-dead",
            "The lever moved, and neither sensor of the disc changed.",
            "Look at the sensors' supply, their wires, and whether the disc turns with the motor.",
        )
    if way == "not at all":
        raise FoundWrong(
            "loose",
            f"The disc counted {moved}, and the lever did not move.",
            "Look for a wheel that slips on its axle; or the play is larger than the nudge. Nudge again to be certain.",
        )
    up = way == "up"
    if moved > 0 and up:
        return
    if moved > 0:
        raise FoundWrong(
            "both-swapped",
            "Driven up, the lever goes down, and the count rises all the same: motor and disc are both the wrong way round.",
            "Swap the motor's two wires and the two disc sensors' wires; or turn the words for up and down round in the sheet.",
        )
    if up:
        raise FoundWrong(
            "disc-swapped",
            "Driven up, the lever goes up, and the count falls.",
            "Swap the wires of the two disc sensors.",
        )
    raise FoundWrong(
        "motor-swapped",
        "Driven up, the lever goes down, and the count falls.",
        "Swap the motor's two wires, or set bridge.swapped = true in the sheet.",
    )
