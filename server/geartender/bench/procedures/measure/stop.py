"""Against the end stop: the winding's resistance by a meter, the train's stiffness, and the play when the drive is turned round."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geartender.bench.estimators import press
from geartender.bench.estimators.fit import Value
from geartender.bench.estimators.record import Record
from geartender.bench.models import Announcement, Question
from geartender.bench.procedures.places import PASS_DEG_S, beyond, endless, high, low, room, to
from geartender.bench.procedures.work import Work, curve
from geartender.servo.settings import backlash_deg

TITLE = "Against the end stop"

PRESS_SHARE = 0.5
"""Share of the overload torque to press a stop with."""

RISE_S = 2.0
"""s in which the voltage grows."""

PRESS_S = 4.0
"""s to press at the full voltage: to read a meter. The winding warms by little."""

STOP_SEARCH_DEG = 10.0
"""deg beyond the travel in which an end stop is looked for."""


@dataclass
class Pressed:
    """What the end stop told."""

    volts: list[float]
    amps: list[float]
    volts_per_count: Value | None = None
    play: Value | None = None


async def against_the_stop(work: Work) -> Pressed:
    """Press the end stop where the weight rests on it, ask for the current, and cross the play backwards."""
    session, hands, sheet = work.session, work.hands, work.session.servo.sheet
    session.step("press", TITLE)
    pressed = Pressed([], [])
    way = resting_way(work)
    without = await no_stop(work, way)
    if without:
        session.report.steps[-1].state = "skipped"
        session.say(f"{without} The resistance is the sheet's, and the play is what the home mark shows.")
        return pressed
    torque = PRESS_SHARE * hands.overload_nm
    metered = await has_meter(work)
    async with hands.within(
        Announcement(
            text=f"The output goes to the {_side(way)} stop, at most {STOP_SEARCH_DEG:.0f}° beyond"
            f" the travel, and presses it for {PRESS_S:.0f} s. Then the motor is turned round slowly.",
            moves_deg=room(work) + STOP_SEARCH_DEG + 5,
            speed_deg_s=sheet.limits.speed_deg_s if sheet.limits else 0.0,
            torque_nm=torque,
            time_s=STOP_SEARCH_DEG / PASS_DEG_S + PRESS_S + 60,
        )
    ):
        if not await to_the_stop(work, way, torque):
            session.say(f"No stop within {STOP_SEARCH_DEG:.0f}° of the travel.")
            return pressed
        await _press(work, pressed, way, torque)
        if metered and pressed.volts:
            amps = await read_current(work, "current", "What did the meter show while it pressed?")
            if amps is not None:
                pressed.amps = [amps]
        await _turn_round(work, pressed, way)
    return pressed


def resting_way(work: Work) -> int:
    """Which way the weight of the load pulls, so to which stop it is pressed."""
    return -1 if work.session.servo.sheet.load.gravity_nm >= 0 else 1


def _side(way: int) -> str:
    return "lower" if way < 0 else "upper"


async def no_stop(work: Work, way: int) -> str:
    """Why no stop can be pressed, in plain words; nothing where one can."""
    if endless(work):
        return "It turns for ever, so there is no stop."
    answer = await work.session.ask(
        Question(
            id="stop",
            kind="choice",
            text=f"Is there an end stop of metal or wood beyond the {_side(way)} end of the travel,"
            " that the output may be pressed against?",
            choices=["yes", "no"],
        )
    )
    if answer == "yes":
        return ""
    return "There is no stop that it may be pressed against."


async def has_meter(work: Work) -> bool:
    """Whether the person has a meter in one of the motor's wires."""
    answer = await work.session.ask(
        Question(
            id="meter",
            kind="choice",
            text="Is a meter for direct current in one of the motor's two wires, so that you can read it in a moment?",
            choices=["yes", "no"],
        )
    )
    return bool(answer == "yes")


async def read_current(work: Work, question: str, text: str) -> float | None:
    """What the meter showed, A; None where nobody could read it."""
    amps = await work.session.ask(
        Question(
            id=question,
            kind="number",
            unit="A",
            text=f"{text} Digits as shown; leave it out if you could not read it.",
            optional=True,
        )
    )
    return abs(float(amps)) or None if amps is not None else None


async def to_the_stop(work: Work, way: int, torque: float) -> bool:
    """Slowly to the stop, pressing gently; whether there is one."""
    hands = work.hands
    await hands.ready()
    await to(work, (low(work) + 1.0) if way < 0 else (high(work) - 1.0))
    await hands.trial({**hands.easy(0.6 * torque), **beyond(work, STOP_SEARCH_DEG + 3)})
    await hands.arm()
    far = STOP_SEARCH_DEG + 1.0
    stuck = hands.stuck(0.5)
    seen = {"stuck": False}

    def look() -> bool:
        seen["stuck"] = seen["stuck"] or stuck()
        return seen["stuck"]

    await hands.speed(way * PASS_DEG_S, far / PASS_DEG_S, look)
    return seen["stuck"]


def press_volts(work: Work, torque_nm: float) -> float:
    """The voltage that presses with a torque at most."""
    motor = work.dynamics.motor
    return min(
        work.hands.load_ma(torque_nm) / 1000 * motor.resistance_ohm, 0.9 * work.session.servo.sheet.motor.supply_v
    )


async def press_with(work: Work, way: int, torque_nm: float, for_s: float, name: str, every: int) -> Record:
    """A voltage that grows slowly to what presses with that torque, and stays there for a while; kept under a name."""
    hands, supply = work.hands, work.session.servo.sheet.motor.supply_v
    volts = press_volts(work, torque_nm)
    await hands.trial(
        {**hands.open_loop(1.05 * torque_nm, RISE_S * supply / volts), **beyond(work, STOP_SEARCH_DEG + 3)}
    )
    await hands.arm()
    async with hands.recorded(every) as recording:
        await hands.volts(way * volts, RISE_S + for_s)
    return work.keep(name, recording)


def pressed_volts(record: Record) -> float:
    """The voltage in the last second of a press; 0 where it was not driven."""
    driven = np.flatnonzero(record.duty != 0.0)
    if len(driven) == 0:
        return 0.0
    last = int(driven[-1])
    return float(np.mean(np.abs(record.volts[max(last - round(1.0 / record.step_s), 0) : last])))


async def _press(work: Work, pressed: Pressed, way: int, torque: float) -> None:
    d = work.dynamics
    record = await press_with(work, way, torque, PRESS_S, "press", 2)
    driven = np.flatnonzero(record.duty != 0.0)
    if len(driven) < 50:
        return
    pressed.volts = [pressed_volts(record)]
    work.plot(
        "Pressing the stop",
        "V",
        "counts of twist",
        {"twist": [(float(v), float(c)) for v, c in zip(*press.twist(record, way), strict=True)]},
        dots=True,
    )
    try:
        drag = d.friction_a * d.motor.resistance_ohm
        pressed.volts_per_count = press.volts_per_count(record.part(0, int(driven[-1])), way, drag)
    except ValueError as error:
        work.session.say(f"No stiffness: {error}.")


async def _turn_round(work: Work, pressed: Pressed, way: int) -> None:
    """From the stop, a voltage the other way that grows slowly: across the play, a pause, then the load moves."""
    hands = work.hands
    supply = work.session.servo.sheet.motor.supply_v
    drag = work.dynamics.friction_a * work.dynamics.motor.resistance_ohm
    # lie on the stop's flank without twist
    await hands.trial({**hands.open_loop(0.9 * hands.overload_nm, 4.0), **beyond(work, STOP_SEARCH_DEG + 3)})
    await hands.arm()
    await hands.volts(way * 1.1 * drag, 1.2)
    await hands.trial(
        {
            **hands.open_loop(0.9 * hands.overload_nm, supply / max(0.6 * drag, 0.2)),
            **beyond(work, STOP_SEARCH_DEG + 3),
        }
    )
    await hands.arm()
    far = work.scale.counts(3 * backlash_deg(work.session.servo.built)) + 40
    began = hands.count
    async with hands.recorded(2) as recording:
        await hands.volts(-way * 6 * drag, 10.0, lambda: abs(hands.count - began) > far)
    record = work.keep("turn-round", recording)
    driven = np.flatnonzero(record.duty != 0.0)
    seen = press.crossed(record.part(0, int(driven[-1]) - 1), -way) if len(driven) > 10 else None
    work.plot("Turned round at the stop", "s", "counts", {"count": curve(record)})
    pressed.play = seen
