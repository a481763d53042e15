"""Weight: a known weight on the lever tells how much of the motor's torque the train passes on, and so the scale of all torques."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from geartender.bench.estimators.fit import Value, mean, product
from geartender.bench.estimators.record import Record
from geartender.bench.models import Announcement, Question
from geartender.bench.procedures.measure.homings import holds
from geartender.bench.procedures.places import endless, high, homed, low, room, to
from geartender.bench.procedures.work import Work
from geartender.bench.session import FoundWrong, Session
from geartender.build.measured import Measured

WITHOUT_TITLE = "Up and down as it is"
WITH_TITLE = "Up and down with a known weight"
SAYS_TITLE = "What the weight says"

GRAVITY_M_S2 = 9.80665
"""Standard acceleration of free fall (ISO 80000-3; CGPM 1901)."""

PASSES = 3
SPEED_SHARE = 0.3
"""Share of the speed limit to pass with."""

SPAN_SHARE, ENDS_SHARE = 0.7, 0.2
"""Share of the travel that is passed, in its middle, and the share of that at each end that is left out: there it speeds up."""

TORQUE_SHARE = 0.4
"""Share of the overload torque that the weight may pull with."""

HOLDS_SHARE = 0.6
"""Share of what friction holds by the sheet that it may pull with: friction is not known well."""

DRIVES = 1.5
"""Times the sheet's friction of the load that its weight surely drives the train from."""

WEIGHT_SHARE = 0.01
"""Standard uncertainty of weight times arm, with kitchen scales and a ruler. Common practice, no source."""

SHEET_SHARE = 0.07
"""Standard uncertainty of the motor's constant over its resistance while they are the sheet's."""


@dataclass(frozen=True, slots=True)
class Pulls:
    """Current that it took to turn up and down at a steady speed, A, and the cosine of the angle over that way."""

    up_a: Value
    down_a: Value
    cosine: float
    least_cosine: float


async def weight(session: Session) -> Measured:
    """The whole procedure; gives the measured values with the train's efficiency. Raises FoundWrong, SessionOver, Refused."""
    work = Work.of(session)
    if endless(work):
        raise FoundWrong(
            "no-lever", "It turns for ever, so no weight hangs on it.", "Take the train's efficiency from the sheet."
        )
    session.step("without", WITHOUT_TITLE)
    bare = await _passes(work, "without", "The output goes up and down in the middle of its travel, without the weight")
    session.step("with", WITH_TITLE)
    pull_nm = await _how_heavy(work)
    loaded = await _passes(work, "with", "The output goes up and down with the weight on it; keep clear of that too")
    session.step("efficiency", SAYS_TITLE)
    _say(work, pull_nm, bare, loaded)
    before = session.servo.measured
    return before.model_copy(update={"values": {**before.values, **work.values}})


def most_nm(work: Work) -> float:
    """What a weight may pull with, N·m: the teeth bear it well, and without drive the friction by the sheet holds it."""
    d, load, gain = work.dynamics, work.session.servo.sheet.load, work.scale.nm_per_a / work.dynamics.motor.kt_nm_per_a
    efficiency = gain / work.dynamics_ratio
    own_nm = d.motor.no_load_current_a * d.motor.kt_nm_per_a * work.dynamics_ratio / efficiency
    holds_nm = own_nm + load.friction_nm - abs(load.gravity_nm)
    return min(TORQUE_SHARE * work.hands.overload_nm, HOLDS_SHARE * max(holds_nm, 0.0))


async def _how_heavy(work: Work) -> float:
    """Torque of the weight where the lever is level, N·m. Raises FoundWrong."""
    session, most = work.session, most_nm(work)
    mass = await session.ask(
        Question(
            id="mass",
            kind="number",
            unit="kg",
            text="Hang a known weight on the lever, so that it hangs freely all the way, and stand clear. It may pull with"
            f" {most:.2f} N·m at most: {most / GRAVITY_M_S2 / 0.1:.2f} kg at 0.1 m. How heavy is it?",
        )
    )
    arm = await session.ask(
        Question(
            id="arm",
            kind="number",
            unit="m",
            text="How far from the middle of the shaft does it hang, along the lever?",
        )
    )
    pull_nm = float(mass) * GRAVITY_M_S2 * float(arm)
    if not 0.0 < pull_nm <= most:
        raise FoundWrong(
            "weight",
            f"That weight pulls with {pull_nm:.2f} N·m; it must be more than 0 and {most:.2f} N·m at most.",
            "Take a lighter weight, or hang it nearer to the shaft; give kg and m.",
        )
    return pull_nm


async def _passes(work: Work, name: str, text: str) -> Pulls:
    """Up and down several times at a steady speed."""
    hands, limits = work.hands, work.session.servo.sheet.limits
    assert limits is not None  # noqa: S101 - a servo without cannot be claimed
    speed, span = SPEED_SHARE * limits.speed_deg_s, SPAN_SHARE * room(work)
    middle = (low(work) + high(work)) / 2
    records: dict[int, list[Record]] = {1: [], -1: []}
    async with hands.within(
        Announcement(
            text=f"{text}, {PASSES} times, at {speed:.0f}° a second.",
            moves_deg=room(work) + 12,
            speed_deg_s=limits.speed_deg_s,
            torque_nm=hands.overload_nm,
            time_s=2 * PASSES * (2 * room(work) / speed + 8) + 60,
        )
    ):
        await homed(work)
        await to(work, middle)
        await holds(work)
        await hands.ready()
        for number in range(2 * PASSES):
            way = 1 if number % 2 == 0 else -1
            await to(work, middle - way * span / 2)
            async with hands.recorded(2) as recording:
                await hands.speed(way * speed, span / speed)
            records[way].append(work.keep(f"{name}-{'up' if way > 0 else 'down'}-{number // 2 + 1}", recording))
    up, down = (mean([_amps(work, record) for record in records[way]]) for way in (1, -1))
    angles = np.radians(middle + np.linspace(-0.5, 0.5, 101) * span * (1 - 2 * ENDS_SHARE))
    return Pulls(up, down, float(np.mean(np.cos(angles))), float(np.min(np.cos(angles))))


def _amps(work: Work, record: Record) -> float:
    """Mean current of the even part of a pass, by the voltage that its speed leaves."""
    moved = np.abs(record.count - record.count[0])
    first, last = (int(np.argmax(moved >= share * moved[-1])) for share in (ENDS_SHARE, 1 - ENDS_SHARE))
    even = record.part(first, last)
    speed = abs(float(np.polyfit(even.t_s - even.t_s[0], even.count, 1)[0])) * work.rad_per_count
    return (abs(float(np.mean(even.volts))) - _ke(work) * speed) / _ohm(work)


def _ke(work: Work) -> float:
    return work.value("ke_v_s") or work.dynamics.motor.kt_nm_per_a


def _ohm(work: Work) -> float:
    return work.value("winding_ohm") or work.dynamics.motor.resistance_ohm


def _constants_share(work: Work) -> float:
    """Relative standard uncertainty of the motor's torque for a volt."""
    known = [work.session.servo.measured.values.get(name) for name in ("ke_v_s", "winding_ohm")]
    return math.hypot(*(one.uncertainty / one.value if one is not None else SHEET_SHARE for one in known))


def _say(work: Work, pull_nm: float, bare: Pulls, loaded: Pulls) -> None:
    """Efficiency while lifting, and while letting down where the load drives the train with and without the weight."""
    session, load = work.session, work.session.servo.sheet.load
    work.plot(
        "Current up and down",
        "N·m hung on",
        "A",
        {
            "up": [(0.0, bare.up_a.value), (pull_nm, loaded.up_a.value)],
            "down": [(0.0, bare.down_a.value), (pull_nm, loaded.down_a.value)],
        },
    )
    at_lever = Value(pull_nm * bare.cosine, WEIGHT_SHARE * pull_nm * bare.cosine)
    more = _less(loaded.up_a, bare.up_a)
    if more.value <= 2 * more.uncertainty:
        raise FoundWrong(
            "weight-unseen",
            f"With the weight it took {more.value * 1000:.0f} mA more to go up, which is no more than it varies by itself.",
            "Take a heavier weight, or look whether it hung freely all the way.",
        )
    torque = more.scaled(_ke(work)).with_share(_constants_share(work))
    efficiency = product(1 / work.dynamics_ratio, (at_lever, 1), (torque, -1))
    work.found("train_efficiency", efficiency)
    session.say(
        f"While it lifts, the train passes on {efficiency.value:.0%} (± {efficiency.uncertainty:.0%}) of the motor's torque;"
        f" by the sheet {work.scale.nm_per_a / work.dynamics.motor.kt_nm_per_a / work.dynamics_ratio:.0%}."
    )
    scale = at_lever.value / (more.value * work.scale.nm_per_a)
    session.say(
        f"The torques that this servo has shown so far were {1 / scale:.2f} times the true ones; now they follow this."
    )
    less = _less(bare.down_a, loaded.down_a)
    if load.gravity_nm * bare.least_cosine > DRIVES * load.friction_nm and less.value > 2 * less.uncertainty:
        back = product(
            work.dynamics_ratio, (less.scaled(_ke(work)).with_share(_constants_share(work)), 1), (at_lever, -1)
        )
        work.found("back_efficiency", back)
        session.say(f"While the load drives it, {back.value:.0%} (± {back.uncertainty:.0%}) comes back to the motor.")


def _less(one: Value, other: Value) -> Value:
    return Value(one.value - other.value, math.hypot(one.uncertainty, other.uncertainty))
