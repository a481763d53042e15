"""First power: from a machine that has never been driven to one that is trusted. What is wrong is named, with its cure."""

from __future__ import annotations

import asyncio
import math

import numpy as np

from geartender.bench.estimators import magnets
from geartender.bench.estimators.fit import Value
from geartender.bench.estimators.record import Record
from geartender.bench.models import Announcement, Question
from geartender.bench.procedures.places import beyond, endless, inward, room
from geartender.bench.procedures.work import Work
from geartender.bench.session import FoundWrong, Session
from geartender.build.measured import Measured
from geartender.servo.models import MotionState
from geartender.servo.requests import MoveRequest
from geartender.servo.settings import backlash_deg
from geartender.servo.units import WIRE

TITLES = (
    "The supply",
    "Both sensors, by hand",
    "A nudge: which way is up",
    "Home, from both sides",
    "How far it really goes",
    "Every count arrives",
)

SUPPLY_SHARE = 0.12
"""Share by which the supply may be off the sheet's voltage: an adapter is within a twentieth, a battery within this."""

BY_HAND_S = 60.0
"""s to turn the shaft by hand in."""
HAND_RESTS_S = 1.0
"""s without a count after which the hand has let go."""
BY_HAND_COUNTS = 8
"""Counts one way that prove both sensors: two marks."""
BY_HAND_LEAST = 3
"""Changes of one sensor alone that prove the other dead."""

NUDGE_DEG = 4.0
"""deg that a nudge moves the output at most."""
NUDGE_S = 3.0
"""s in which the voltage grows."""
NUDGE_COUNTS = 24
"""Counts after which a nudge has shown enough, where they are fewer degrees."""

TORQUE_SHARE = 0.5
"""Share of the overload torque that a machine of which nothing is certain gets."""

SWEEP_DEG_S = 6.0
"""deg per s of the search for a home mark that homing did not find."""

SPIN_S, SPIN_LEAST_S, SPIN_SHARE = 1.2, 0.35, 0.35
"""s of the run away from home, and the share of the travel that it may take, coasting included."""

SLOWER = 0.65
"""Share of the voltage of the first run that the second has."""

LISTEN_COUNTS_S, LISTEN_COUNTS = 60.0, 600
"""Counts per s so slow that each is seen for several ticks, and how many to listen to."""
CLEAR = 3.0
"""Times its own uncertainty at which a pattern of the disc is clear."""

GAP_TIMES, GAP_SHARE = 1.5, 0.004
"""Times the usual at which a count lasts as long as two, and the share of such from which edges are being lost."""

ROUND_TRIPS = 3
LOST_COUNTS = 3.0
"""Counts that the home mark may be off after the trips: its own repeatability and the play are below."""

ANGLE_SHARE = 0.07
"""Share by which what a protractor shows may differ from what was asked: reading it is no better."""
SPEED_SHARE = 0.17
"""Share by which a motor may differ from its data sheet."""
WIDE_CELL = 2.0
"""Counts of the widest cell from which a mark is missing: it leaves five, uneven magnets a third more than one."""


async def first_power(session: Session) -> Measured:
    """The whole procedure. Raises FoundWrong, SessionOver, Refused."""
    work = Work.of(session)
    await the_supply(work)
    await by_hand(work)
    await the_nudge(work)
    await find_home(work)
    await how_far(work)
    await every_count(work)
    before = session.servo.measured
    return before.model_copy(update={"values": {**before.values, **work.values}})


async def the_supply(work: Work) -> None:
    """What the board sees of the supply, at rest."""
    session = work.session
    session.step("supply", TITLES[0])
    await asyncio.sleep(0.3)
    seen, wanted = session.servo.live.supply_v, session.servo.sheet.motor.supply_v
    if seen is None:
        session.say("The supply is not measured: no pin for it stands in the sheet. The sheet's voltage is taken.")
        return
    work.found("supply_v", Value(seen, 0.01 * seen))
    if abs(seen - wanted) > SUPPLY_SHARE * wanted:
        raise FoundWrong(
            "supply",
            f"The supply is {seen:.1f} V; the sheet says {wanted:g} V.",
            "Put the real voltage into the sheet (motor.supply_v, with the motor's values at it), or use the other supply.",
        )
    session.say(f"The supply is {seen:.2f} V, as the sheet says ({wanted:g} V).")


async def by_hand(work: Work) -> None:
    """Edges of both sensors while the shaft is turned by hand; nothing is driven."""
    session, servo = work.session, work.session.servo
    session.step("sensors", TITLES[1])
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
        raise _dead(work, dead[0])
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


def _dead(work: Work, which: str) -> FoundWrong:
    pins = work.session.servo.sheet.pins
    pin, other = (pins.disc_a, "b") if which == "a" else (pins.disc_b, "a")
    return FoundWrong(
        f"sensor-{which}-dead",
        f"Sensor {which.upper()} of the disc (GPIO {pin}) never changes, while sensor {other.upper()} does.",
        f"Look at the wire from sensor {which.upper()} to GPIO {pin}, at its supply, and at its distance to the disc.",
    )


async def the_nudge(work: Work) -> None:
    """A voltage that grows slowly until the disc turns; then the person says which way the lever went."""
    session, hands, servo = work.session, work.hands, work.session.servo
    session.step("nudge", TITLES[2])
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
        raise _dead(work, dead)
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


# Home


async def find_home(work: Work) -> None:
    """Home, then pass the mark both ways; where it is not found, look at the sensor over the whole way."""
    session, hands, servo = work.session, work.hands, work.session.servo
    sheet = servo.sheet
    session.step("home", TITLES[3])
    assert sheet.home is not None and sheet.limits is not None  # noqa: S101, PT018 - claim has looked
    speed = min(sheet.home.speed_deg_s, sheet.limits.speed_deg_s)
    session.fault_expected = True
    way = room(work) + 12
    torque = hands.overload_nm
    async with hands.within(
        Announcement(
            text=f"The output looks for its home mark, at most {way:.0f}° away; if that fails, it goes once over the whole way.",
            moves_deg=2 * way,
            speed_deg_s=max(speed, SWEEP_DEG_S) * 1.5,
            torque_nm=torque,
            time_s=4 * way / speed + 4 * way / SWEEP_DEG_S + 40,
        )
    ):
        await hands.ready()
        motion = await hands.home()
        if not hands.fine(motion):
            await _why_no_home(work, motion.state, motion.reason)
        await _spin(work)
    session.fault_expected = False


async def _why_no_home(work: Work, state: MotionState, reason: str | None) -> None:
    """The mark along the whole way says what is wrong with it. Raises FoundWrong."""
    session, servo = work.session, work.session.servo
    if state is MotionState.STOPPED and servo.snapshot().fault is None:
        raise FoundWrong("home", f"Homing ended early: {reason}.", "Begin again.")
    if servo.snapshot().fault is not None:
        await servo.reset(session.who)
    marks = await _sweep(work)
    share = float(np.mean(marks)) if len(marks) else 0.0
    changes = int(np.count_nonzero(np.diff(marks.astype(int))))
    pin = servo.sheet.pins.home
    level = servo.sheet.home.mark_is if servo.sheet.home else "low"
    if changes == 0 and share > 0.5:
        raise FoundWrong(
            "home-always",
            f"The home sensor says “at the mark” over the whole way: its pin (GPIO {pin}) always reads {level}.",
            "Look whether the sensor's wire is shorted or its supply missing, and whether something sits in front of it.",
        )
    if changes == 0:
        raise FoundWrong(
            "home-never",
            f"The home mark was not seen over the whole way: GPIO {pin} never reads {level}.",
            "Look at the sensor's wire and supply, and whether the mark passes in front of it at all.",
        )
    if share > 0.5:
        other = "high" if level == "low" else "low"
        raise FoundWrong(
            "home-inverted",
            f"The home sensor says “at the mark” nearly everywhere, and leaves it for {1 - share:.0%} of the way: it is"
            " the wrong way round.",
            f'Set home.mark_is = "{other}" in the sheet.',
        )
    raise FoundWrong(
        "home-not-found",
        f"Homing failed ({reason}), though the mark is there.",
        "Look whether something stops the lever on its way; set home.seek to the side on which the mark lies.",
    )


async def _sweep(work: Work) -> np.ndarray:
    """The mark over the whole way, from where the lever is to both ends: an end is the stop, or the travel's length."""
    hands = work.hands
    marks: list[bool] = []
    far = room(work) + 10
    torque = TORQUE_SHARE * hands.overload_nm
    await hands.trial({**hands.easy(torque), **beyond(work, far + 400)})
    for way in (-1, 1):
        await hands.arm()
        async with hands.recorded(5) as recording:
            await hands.speed(way * SWEEP_DEG_S, far / SWEEP_DEG_S, hands.stuck())
        record = work.keep(f"sweep-{'up' if way > 0 else 'down'}", recording)
        moving = np.flatnonzero(np.diff(record.count) != 0)
        marks += record.mark[moving].tolist()
    return np.asarray(marks, bool)


async def _spin(work: Work) -> None:
    """Away from home at a held voltage: the disc's cells, the counts for a volt, and whether the mark is left behind."""
    session, hands, d = work.session, work.hands, work.dynamics
    sheet = session.servo.sheet
    assert sheet.home is not None  # noqa: S101
    way = 1 if sheet.home.seek == "down" else -1
    drag = d.friction_a * d.motor.resistance_ohm
    supply = sheet.motor.supply_v
    volts, for_s = min(0.5 * supply, drag + 0.35 * supply), SPIN_S
    speed = (volts - drag) * d.counts_per_volt_second * work.scale.deg_per_count
    decel = d.friction_a * d.motor.kt_nm_per_a / d.inertia_kg_m2 * work.scale.deg_per_count * d.counts_per_rad
    space = SPIN_SHARE * room(work) / 1.5
    while speed * for_s + speed**2 / (2 * decel) > space and for_s > SPIN_LEAST_S:
        for_s *= 0.9
    while speed * for_s + speed**2 / (2 * decel) > space and volts > 1.6 * drag:
        volts *= 0.95
        speed = (volts - drag) * d.counts_per_volt_second * work.scale.deg_per_count
    await hands.trial({**hands.open_loop(0.9 * hands.overload_nm), **beyond(work, 30)})
    await hands.arm()
    for name, there in (("out", way), ("out-slowly", SLOWER * way)):
        async with hands.recorded() as recording:
            await hands.volts(there * max(volts, 2.2 * drag), for_s)
        work.spins.append(work.keep(name, recording))
        await hands.arm()
    record = work.spins[0]
    if float(np.mean(record.mark)) > 0.5:
        await _mark_everywhere(work)
    await _whole_disc(work, work.spins)
    session.say("Home is found, and the mark is left behind on the way out.")


async def _mark_everywhere(work: Work) -> None:
    """The mark is seen where it should not be. Raises FoundWrong."""
    marks = await _sweep(work)
    if np.count_nonzero(np.diff(marks.astype(int))) == 0:
        await _stuck_on(work)
    sheet = work.session.servo.sheet
    other = "high" if sheet.home is not None and sheet.home.mark_is == "low" else "low"
    raise FoundWrong(
        "home-inverted",
        "The home sensor says “at the mark” nearly everywhere: it is the wrong way round.",
        f'Set home.mark_is = "{other}" in the sheet.',
    )


async def _whole_disc(work: Work, records: list[Record]) -> None:
    """One gap far wider than the others is a mark that is missing. Raises FoundWrong."""
    marks = work.session.servo.sheet.disc.marks_per_turn
    if not await work.session.think(lambda: _missing(records, marks - 1)):
        return
    raise FoundWrong(
        "mark-missing",
        "One gap of the disc is far wider than the others.",
        f"A magnet has come loose, or a slot is covered: the disc should have {marks} marks. Put it back.",
    )


async def _stuck_on(work: Work) -> None:
    pin = work.session.servo.sheet.pins.home
    raise FoundWrong(
        "home-always",
        f"The home sensor says “at the mark” over the whole way (GPIO {pin}).",
        "Look whether the sensor's wire is shorted or its supply missing, and whether something sits in front of it.",
    )


# Counts


async def every_count(work: Work) -> None:
    """Out at full speed and back, several times: the mark must be where it was."""
    session, hands, servo = work.session, work.hands, work.session.servo
    session.step("counts", TITLES[5])
    limits = servo.sheet.limits
    assert limits is not None  # noqa: S101
    far = min(room(work) * 0.8, 120.0)
    session.fault_expected = True
    async with hands.within(
        Announcement(
            text=f"The output goes out by {far:.0f}° at its full speed and back, {ROUND_TRIPS} times, and homes.",
            moves_deg=room(work) + 15,
            speed_deg_s=limits.speed_deg_s,
            torque_nm=hands.overload_nm,
            time_s=ROUND_TRIPS * 2 * (far / limits.speed_deg_s + 3) + 60,
        )
    ):
        await hands.ready()
        before = servo.live.row.origin
        for _ in range(ROUND_TRIPS):
            await _plain(work, inward(work, far))
            await _plain(work, inward(work, 3.0))
        gaps, _ = await _listen(work)
        motion = await hands.home()
        if not hands.fine(motion):
            raise _lost(math.inf)
        lost = (servo.live.row.origin - before) / WIRE
    session.fault_expected = False
    work.plot("Home edge before and after", "", "counts", {"edge": [(0.0, 0.0), (1.0, lost)]}, dots=True)
    allowed = LOST_COUNTS + work.scale.counts(1.2 * backlash_deg(servo.built))
    if abs(lost) > allowed:
        raise _lost(lost)
    if gaps > GAP_SHARE:
        raise _lost(math.nan)
    session.say(f"After {ROUND_TRIPS} trips the mark is where it was: {abs(lost):.1f} counts off, none lost.")


async def _listen(work: Work) -> tuple[float, Record]:
    """Turn slowly, and tell the share of counts that last as long as two: there an edge was lost."""
    hands = work.hands
    sheet = work.session.servo.sheet
    assert sheet.home is not None and sheet.limits is not None  # noqa: S101, PT018
    middle = inward(work, room(work) / 2)
    way = 1 if middle >= hands.angle_deg or math.isnan(hands.angle_deg) else -1
    counts = min(LISTEN_COUNTS, work.scale.counts(0.5 * room(work)))
    speed = min(LISTEN_COUNTS_S * work.scale.deg_per_count, sheet.limits.speed_deg_s)
    await hands.trial({**hands.easy(hands.overload_nm), **beyond(work, 5)})
    await hands.arm()
    async with hands.recorded() as recording:
        await hands.speed(way * speed, counts * work.scale.deg_per_count / speed)
    record = work.keep("listen", recording)
    edges = np.flatnonzero(np.diff(record.count) != 0)
    lasts = np.diff(edges)[8:-8].astype(float)
    if len(lasts) < 40:
        return 0.0, record
    around = np.array([np.median(lasts[max(0, at - 8) : at + 9]) for at in range(len(lasts))])
    return float(np.mean(lasts > GAP_TIMES * around + 1.0)), record


async def _plain(work: Work, deg: float, share: float = 1.0) -> None:
    """An ordinary move; where it ends in a fault, a slow turn tells lost edges from something in the way. Raises FoundWrong."""
    limits = work.session.servo.sheet.limits
    assert limits is not None  # noqa: S101 - a servo without cannot be claimed
    request = MoveRequest(to_deg=deg, speed_deg_s=share * limits.speed_deg_s)
    motion = await work.session.servo.move(work.session.who, request)
    await motion.ended()
    if motion.state is MotionState.DONE:
        await asyncio.sleep(0.1)
        return
    if motion.state is not MotionState.FAULTED:
        raise FoundWrong("move", f"A plain move did not end as it should: {motion.reason}.", "Begin again.")
    fault = work.session.servo.snapshot().fault
    await work.session.servo.reset(work.session.who)
    gaps, record = await _listen(work)
    await _whole_disc(work, [record])
    if (fault is not None and fault.cause == "sensor-error") or gaps > GAP_SHARE:
        raise _lost(math.nan)
    raise FoundWrong(
        "in-the-way",
        f"A plain move ended in a fault: {motion.reason}",
        "Look whether something is in the way of the lever, or catches in the gears, at that angle; then begin again.",
    )


def _lost(counts: float) -> FoundWrong:
    many = f"{abs(counts):.0f} counts" if math.isfinite(counts) else "Counts"
    return FoundWrong(
        "counts-lost",
        f"{many} were lost on the way out and back: the home mark is not where it was.",
        "Look at the distance of the sensors to the disc, at long wires beside the motor's, and at the pull-ups; a wheel that slips"
        " does the same.",
    )


# How far


async def how_far(work: Work) -> None:
    """A move that a protractor is held against, and the speed for a volt: they tell teeth from marks."""
    session, hands, servo = work.session, work.hands, work.session.servo
    session.step("travel", TITLES[4])
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
        await _plain(work, inward(work, 0.08 * room(work)), 0.4)
        await session.ask(Question(id="angle-from", kind="go", text="Mark where the lever stands now, then go on."))
        await _plain(work, inward(work, 0.08 * room(work) + far), 0.4)
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
    as_written = await work.session.think(lambda: _pattern(work.spins, marks))
    as_seen = await work.session.think(lambda: _pattern(work.spins, round(real)))
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


def _missing(records: list[Record], marks: int) -> bool:
    """Whether one cell of the disc is as wide as only a missing mark makes it."""
    if marks < 1:
        return False
    try:
        table, _ = magnets.edges(records, 4 * marks, 2, turns_even=False)
    except ValueError:
        return False
    return magnets.widest_cell(table).value > WIDE_CELL


def _pattern(records: list[Record], marks: int) -> float:
    """How clearly the disc's unevenness repeats with so many marks: its size over what its halves disagree by."""
    try:
        table, spread = magnets.edges(records, 4 * max(marks, 1), 2)
    except ValueError:
        return 0.0
    return float(np.sqrt(np.mean(table**2))) / max(spread, 1e-6)
