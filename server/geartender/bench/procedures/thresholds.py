"""Thresholds: a map of the torque that the machine needs, and an overload between that and what the teeth bear."""

from __future__ import annotations

import numpy as np

from geartender.bench.estimators.fit import Value
from geartender.bench.estimators.torque_map import Bin, between, false_trips_per_hour, missed_share, torque_map
from geartender.bench.models import Announcement
from geartender.bench.procedures.places import high, homed, low, room, to
from geartender.bench.procedures.work import Work
from geartender.bench.session import FoundWrong, Session
from geartender.build.drive import Drive
from geartender.build.measured import Measured
from geartender.servo.requests import MoveRequest

PASSES = 2
BINS = 18
"""Pieces of the travel in the map."""
SHEET_SCALE_SHARE = 0.15
"""Standard uncertainty of the torque's scale while the train's efficiency is the sheet's. Common practice, no source."""
CHANGES_PER_S = 5.0
"""How often a running torque swings in a second, at most: teeth of a slow train pass no quicker. Common practice, no source."""


async def thresholds(session: Session) -> Measured:
    """The whole procedure; gives the measured values with the map and the threshold."""
    work = Work.of(session)
    up, down, moving = await the_map(work)
    session.step("threshold", "The threshold")
    drive = Drive.of(session.servo.built)
    teeth = drive.suggested_overload_nm
    bins = [*up, *down]
    worst = max(bins, key=lambda one: one.mean_nm + 2 * one.spread_nm)
    peak = max(moving, *(one.peak_nm for one in bins))
    threshold = between(peak, worst.spread_nm, teeth)
    work.found("overload_nm", Value(threshold, SHEET_SCALE_SHARE * threshold))
    line = [(low(work), threshold), (high(work), threshold)]
    work.plot(
        "What it needs, and the threshold",
        "°",
        "N·m",
        {
            "up": [(one.deg, one.peak_nm) for one in up],
            "down": [(one.deg, one.peak_nm) for one in down],
            "threshold": line,
        },
    )
    false = false_trips_per_hour(threshold, worst.mean_nm, worst.spread_nm, CHANGES_PER_S)
    missed = missed_share(threshold, teeth, SHEET_SCALE_SHARE)
    session.say(f"The machine needs {peak:.2f} N·m at most; its gears bear {teeth:.2f} N·m by the sheet.")
    session.say(
        f"The overload is set to {threshold:.2f} N·m: fewer than {max(false, 1e-3):.2g} false trips an hour of moving,"
        f" by the record's spread; {missed:.0%} of the overloads that the teeth just do not bear would pass it."
    )
    if threshold >= teeth:
        session.say(
            "What the machine needs is close to what its gears bear: take wider teeth, less load or gentler limits."
        )
    before = session.servo.measured
    rows = [
        {
            "deg": round(one.deg, 2),
            "up_nm": round(one.mean_nm, 4),
            "down_nm": round(other.mean_nm, 4),
            "spread_nm": round(max(one.spread_nm, other.spread_nm), 4),
        }
        for one, other in zip(up, down, strict=False)
    ]
    return before.model_copy(update={"values": {**before.values, **work.values}, "torque_map": rows})


async def the_map(work: Work) -> tuple[list[Bin], list[Bin], float]:
    """The torque over the travel up and down at half the speed, and the peak of moves at full speed."""
    session, hands, servo = work.session, work.hands, work.session.servo
    session.step("map", "A map of the running torque")
    limits = servo.sheet.limits
    assert limits is not None  # noqa: S101 - a servo without cannot be claimed
    speed = limits.speed_deg_s / 2
    margin = 0.04 * room(work)
    found: dict[int, tuple[list[float], list[float]]] = {1: ([], []), -1: ([], [])}
    async with hands.within(
        Announcement(
            text=f"The output goes over its travel {PASSES} times slowly, up and down, and once at full speed.",
            moves_deg=room(work) + 12,
            speed_deg_s=limits.speed_deg_s,
            torque_nm=hands.overload_nm,
            time_s=(2 * PASSES + 2) * (room(work) / speed + 4) + 40,
        )
    ):
        await homed(work)
        await to(work, low(work) + margin)
        for _ in range(PASSES):
            for way, end in ((1, high(work) - margin), (-1, low(work) + margin)):
                await _pass(work, end, speed, found[way])
        peak = 0.0
        for end in (high(work) - margin, low(work) + margin):
            motion = await servo.move(session.who, MoveRequest(to_deg=end))
            await motion.ended()
            if not hands.fine(motion):
                raise FoundWrong("move", f"A plain move ended otherwise: {motion.reason}.", "Run first power.")
            peak = max(peak, motion.peak_torque_nm or 0.0)
    width = room(work) / BINS
    up, down = (torque_map(np.array(angles), np.array(torques), width) for angles, torques in (found[1], found[-1]))
    if not up or not down:
        raise FoundWrong("too-short", "The travel is too short for a map.", "Set the overload in the sheet.")
    return up, down, peak


async def _pass(work: Work, end: float, speed: float, into: tuple[list[float], list[float]]) -> None:
    servo = work.session.servo
    motion = await servo.move(work.session.who, MoveRequest(to_deg=end, speed_deg_s=speed))
    await motion.ended()
    if not work.hands.fine(motion):
        raise FoundWrong("move", f"A slow move ended otherwise: {motion.reason}.", "Run first power.")
    for row in motion.trace_rows():
        if row.angle_deg is not None and abs(row.speed_deg_s) > 0.5 * speed:
            into[0].append(row.angle_deg)
            into[1].append(row.torque_nm)
