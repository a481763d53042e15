"""Warm-up: how much the winding warms while the motor presses, by its resistance, as a meter shows it."""

from __future__ import annotations

import asyncio
import math

from geartender.bench.estimators.fit import Value
from geartender.bench.estimators.warming import Reading, rise_k, warming
from geartender.bench.models import Announcement
from geartender.bench.procedures.measure.evaluate import METER_DIGIT_A
from geartender.bench.procedures.measure.stop import (
    PRESS_S,
    PRESS_SHARE,
    STOP_SEARCH_DEG,
    has_meter,
    no_stop,
    press_volts,
    press_with,
    pressed_volts,
    read_current,
    resting_way,
    to_the_stop,
)
from geartender.bench.procedures.places import PASS_DEG_S, homed, room
from geartender.bench.procedures.work import Work
from geartender.bench.session import FoundWrong, Session
from geartender.build.measured import Measured

PRESS_TITLE = "Cold, warm, and cooling"
SAYS_TITLE = "How warm the winding gets"

WARM_S, COOL_S = 180.0, 120.0
"""s that it presses, and s that it rests before it is looked at once more."""

RISE_SHARE = 0.5
"""Share of the rise that the winding may have by the sheet that this may come to."""

EVERY = 10
"""Ticks between the samples of a press."""

BOUT_COUNTS = 50_000
"""Counts that the disc would turn by in a bout, if it were free: half of what the firmware lets it fall behind by."""

READING_SHARE = 0.003
"""What two readings of the same meter differ by, as a share, besides their last digit. Common practice, no source."""


async def warmth(session: Session) -> Measured:
    """The whole procedure; gives the measured values with the winding's rise. Raises FoundWrong, SessionOver, Refused."""
    work = Work.of(session)
    session.step("press", PRESS_TITLE)
    way = resting_way(work)
    without = await no_stop(work, way)
    if without:
        raise FoundWrong("no-stop", without, "The winding is warmed by pressing a stop: build one, or go without this.")
    if not await has_meter(work):
        raise FoundWrong(
            "no-meter",
            "Without a meter nobody sees the winding's resistance.",
            "Put one in one of the motor's two wires.",
        )
    torque = PRESS_SHARE * work.hands.overload_nm
    warm_s = harmless_s(work, torque)
    cold, warm, cooled = await _three(work, way, torque, warm_s)
    session.step("rise", SAYS_TITLE)
    if cold is None or warm is None:
        raise FoundWrong(
            "no-reading", "Without both currents nothing is known of the winding.", "Read the meter in time."
        )
    _say(work, (cold, warm, cooled), warm_s)
    before = session.servo.measured
    return before.model_copy(update={"values": {**before.values, **work.values}})


def harmless_s(work: Work, torque_nm: float) -> float:
    """For how long it may press, by what the sheet says of the winding: then it warms by half of what it may."""
    motor = work.session.servo.sheet.motor
    if motor.thermal_k_per_w is None or motor.thermal_time_s is None or motor.max_winding_c is None:
        return WARM_S
    ends_k = press_volts(work, torque_nm) ** 2 / work.dynamics.motor.resistance_ohm * motor.thermal_k_per_w
    may_k = RISE_SHARE * max(motor.max_winding_c - motor.ambient_c, 0.0)
    if may_k >= ends_k:
        return WARM_S
    return min(WARM_S, -motor.thermal_time_s * math.log1p(-may_k / ends_k))


async def _three(
    work: Work, way: int, torque: float, warm_s: float
) -> tuple[Reading | None, Reading | None, Reading | None]:
    """The winding cold, after a long press, and after a rest."""
    session, hands, sheet = work.session, work.hands, work.session.servo.sheet
    async with hands.within(
        Announcement(
            text=f"The output goes to its stop, at most {STOP_SEARCH_DEG:.0f}° beyond the travel, and presses it for"
            f" {PRESS_S:.0f} s, then for {warm_s:.0f} s, and after a rest of {COOL_S:.0f} s for {PRESS_S:.0f} s again."
            " Read the meter at the end of each.",
            moves_deg=1.1 * room(work) + STOP_SEARCH_DEG + 12,
            speed_deg_s=sheet.limits.speed_deg_s if sheet.limits else 0.0,
            torque_nm=torque,
            time_s=STOP_SEARCH_DEG / PASS_DEG_S + warm_s + 2 * PRESS_S + 90,
        )
    ):
        await homed(work)
        if not await to_the_stop(work, way, torque):
            raise FoundWrong(
                "no-stop",
                f"No stop was met within {STOP_SEARCH_DEG:.0f}° of the travel.",
                "Build one, or go without this.",
            )
        cold = await _reading(work, way, torque, PRESS_S, "cold")
        session.say(f"Now it presses for {warm_s:.0f} s; read the meter as it ends.")
        warm = await _reading(work, way, torque, warm_s, "warm")
        session.say(f"It rests for {COOL_S:.0f} s.")
        await asyncio.sleep(COOL_S)
        return cold, warm, await _reading(work, way, torque, PRESS_S, "cooled")


async def _reading(work: Work, way: int, torque: float, for_s: float, name: str) -> Reading | None:
    """Press for that time, in bouts that the firmware takes for turns that it does not fall behind in, and ask for the current."""
    bout_s = BOUT_COUNTS / (press_volts(work, torque) * work.dynamics.counts_per_volt_second)
    bouts = max(1, math.ceil(for_s / bout_s))
    presses = [await press_with(work, way, torque, for_s / bouts, f"press-{name}-{n}", EVERY) for n in range(bouts)]
    volts = pressed_volts(presses[-1])
    amps = await read_current(work, f"current-{name}", f"What did the meter show at the end, {name}?")
    if amps is None or volts <= 0.0:
        return None
    return Reading(volts, Value(amps, math.hypot(READING_SHARE * amps, METER_DIGIT_A / math.sqrt(12))))


def _say(work: Work, readings: tuple[Reading, Reading, Reading | None], warm_s: float) -> None:
    session, ambient_c = work.session, work.session.servo.sheet.motor.ambient_c
    cold, warm, cooled = readings
    found = warming(cold, warm, cooled, ambient_c, warm_s, COOL_S)
    work.found("winding_rise_k", found.rise_k)
    session.say(
        f"After {warm_s:.0f} s of {warm.volts:.1f} V at rest the winding was {found.rise_k.value:.1f} K warmer"
        f" (± {found.rise_k.uncertainty:.1f} K): {cold.ohm:.2f} Ω became {warm.ohm:.2f} Ω."
    )
    points = [(0.0, 0.0), (warm_s, found.rise_k.value)]
    if cooled is not None:
        points.append((warm_s + COOL_S, rise_k(cold, cooled, ambient_c).value))
    work.plot("Rise of the winding", "s", "K", {"rise": points})
    if found.time_s is None or found.k_per_w is None:
        session.say("How quickly it warms and cools is not clear from these readings.")
        return
    work.found("thermal_time_s", found.time_s)
    work.found("thermal_k_per_w", found.k_per_w)
    session.say(
        f"It warms by {found.k_per_w.value:.1f} K for a watt (± {found.k_per_w.uncertainty:.1f}), with a time constant of"
        f" {found.time_s.value:.0f} s (± {found.time_s.uncertainty:.0f})."
    )
