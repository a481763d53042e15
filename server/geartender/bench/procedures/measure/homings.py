"""Home, again and again: how exactly its edge is found, and whether the output stays where it is without drive."""

from __future__ import annotations

import math

import numpy as np

from geartender.bench.estimators.fit import Value
from geartender.bench.models import Announcement
from geartender.bench.procedures.places import inward, room, to
from geartender.bench.procedures.work import Work
from geartender.bench.session import FoundWrong
from geartender.servo.units import WIRE

TITLE = "Home, again and again"

HOMINGS = 5

SINKS_DEG = 1.5
"""deg that an output may give way by when drive is taken from it, play included; more, and it sinks."""


async def homings(work: Work) -> None:
    """Home several times from both sides of a short way, and see where the edge is found."""
    session, hands, sheet = work.session, work.hands, work.session.servo.sheet
    session.step("homings", TITLE)
    travel_deg = room(work)
    assert sheet.home is not None and sheet.limits is not None  # noqa: S101, PT018 - it can move
    speed = min(sheet.home.speed_deg_s, sheet.limits.speed_deg_s)
    away = min(6.0, travel_deg / 4)
    time = (travel_deg * 1.2 + 10) / speed + HOMINGS * (away / speed * 3 + 12)
    origins: list[float] = []
    async with hands.within(
        Announcement(
            text=f"The output looks for its home mark {HOMINGS} times, at most {travel_deg:.0f}° away.",
            moves_deg=travel_deg * 1.1 + 12,
            speed_deg_s=sheet.limits.speed_deg_s,
            torque_nm=hands.overload_nm,
            time_s=time,
        )
    ):
        await hands.ready()
        for _ in range(HOMINGS):
            motion = await hands.home()
            if not hands.fine(motion):
                raise FoundWrong(
                    "home", f"It did not find home: {motion.reason}.", "Run first power: it finds out why."
                )
            origins.append(session.servo.live.row.origin / WIRE * work.scale.deg_per_count)
            await to(work, inward(work, away))
        await holds(work)
    spread = float(np.std(origins, ddof=1))
    floor = 0.1 * work.scale.deg_per_count
    work.found("home_repeat_deg", Value(spread, max(spread, floor) / math.sqrt(2 * (HOMINGS - 1))))
    session.say(f"Home is found again within {max(spread, floor):.3f}° (one standard deviation of {HOMINGS}).")
    middle = float(np.mean(origins))
    work.plot(
        "Home edge found",
        "homing",
        "° from the mean",
        {"edge": [(n + 1, o - middle) for n, o in enumerate(origins)]},
        dots=True,
    )


async def holds(work: Work) -> None:
    """Take drive away: a lever that sinks cannot be measured with its load on, since every change of settings takes drive away."""
    hands = work.hands
    at = hands.count
    await hands.disarm()
    sunk = abs(hands.count - at) * work.scale.deg_per_count
    if sunk > SINKS_DEG:
        raise FoundWrong(
            "sinks",
            f"Without drive the output sank by {sunk:.1f}°.",
            "Take the load off the lever, or balance it, while you measure; and keep clear of it whenever drive goes.",
        )
