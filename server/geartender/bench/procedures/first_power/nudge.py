"""The nudge: which way is up, and do motor and sensors agree."""

from __future__ import annotations

import asyncio
from dataclasses import dataclass

import numpy as np

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

TORQUE_SHARE_AGAIN = 0.9
"""Share of the overload torque of a second nudge, where the first turned nothing: the sheet makes friction or load too small."""

STILL_COUNTS = 2
"""Counts that a disc at rest may show: it lies on an edge."""
STUTTERS = 6
"""Changes to and fro from which a disc has turned under one sensor alone."""


async def the_nudge(work: Work) -> None:
    """A voltage that grows slowly until the disc turns; then the person says which way the lever went."""
    session = work.session
    session.step("nudge", TITLE)
    nudged, way = await _nudge(work, TORQUE_SHARE)
    if nudged.still and (work.sensors_seen or way == "not at all"):
        session.say(f"With {TORQUE_SHARE:.0%} of the overload's torque it did not turn.")
        nudged, way = await _nudge(work, TORQUE_SHARE_AGAIN)
    _judge(work, nudged, way)
    session.say("Driven up, the lever goes up and the count rises.")


@dataclass(frozen=True, slots=True)
class Nudged:
    """What the disc did: counts from begin to end, changes of the count, and the levels of both sensors that were seen."""

    moved: int
    changes: int
    levels: set[tuple[int, int]]

    @property
    def still(self) -> bool:
        """Whether it did not turn at all."""
        return abs(self.moved) <= STILL_COUNTS and self.changes < STUTTERS


async def _nudge(work: Work, share: float) -> tuple[Nudged, str]:
    """One nudge with a share of the overload torque, and which way the lever went."""
    nudged = await _turned(work, share * work.hands.overload_nm)
    way = await work.session.ask(
        Question(
            id="way",
            kind="choice",
            text=f"Which way did the lever move? Up is “{_word(work, 1)}”.",
            choices=["up", "down", "not at all"],
        )
    )
    return nudged, way


async def _turned(work: Work, torque: float) -> Nudged:
    hands, servo = work.hands, work.session.servo
    play = 1.5 * backlash_deg(servo.built)
    counts = max(min(NUDGE_COUNTS, work.scale.counts(NUDGE_DEG)), work.scale.counts(1.2 + play))
    seen: set[tuple[int, int]] = set()
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
        async with hands.recorded() as recording:
            watch = asyncio.create_task(_levels(work, seen))
            await hands.volts(0.8 * servo.sheet.motor.supply_v, NUDGE_S, lambda: abs(hands.count - began) >= counts)
            watch.cancel()
        record = work.keep("nudge", recording)
    counted = record.count - record.count[0]
    work.plot(
        "The nudge",
        "s",
        "counts",
        {"count": [(float(t), float(c)) for t, c in zip(record.t_s, counted, strict=True)]},
    )
    return Nudged(int(counted[-1]), int(np.count_nonzero(np.diff(record.count))), seen)


async def _levels(work: Work, seen: set[tuple[int, int]]) -> None:
    while True:
        now = await work.session.servo.levels()
        seen.add((now.disc_a, now.disc_b))
        await asyncio.sleep(0.01)


def _word(work: Work, way: int) -> str:
    travel = work.session.servo.sheet.travel
    return "up" if travel is None else travel.up_word if way > 0 else travel.down_word


def _judge(work: Work, nudged: Nudged, way: str) -> None:
    """What count and lever say together. Raises FoundWrong."""
    moved = nudged.moved
    if nudged.changes >= STUTTERS and abs(moved) <= STILL_COUNTS:
        a, _ = zip(*nudged.levels, strict=True)
        raise dead_sensor(work, "a" if len(set(a)) == 1 else "b")
    if nudged.still:
        raise _nothing(work, way)
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


def _nothing(work: Work, way: str) -> FoundWrong:
    """The disc did not turn. A lever sinks through its play by itself: sensors that a hand has proved are not to blame."""
    if work.sensors_seen or way == "not at all":
        return FoundWrong(
            "no-drive",
            "The motor did not turn, at the highest voltage that the sheet makes harmless.",
            "Look at the motor's wires and plugs, the bridge's supply and enable, and the pins pwm_a and pwm_b; then whether it"
            " is stuck.",
        )
    return FoundWrong(
        "sensors-dead",
        "The lever moved, and neither sensor of the disc changed.",
        "Look at the sensors' supply, their wires, and whether the disc turns with the motor.",
    )
