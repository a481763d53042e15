"""Measure: home and its mark, the motor and its friction, the disc's edges, the train against an end stop."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from geartender.bench.estimators import magnets, mark, motor, press
from geartender.bench.estimators.fit import Value, product
from geartender.bench.estimators.record import Record
from geartender.bench.models import Announcement, Question
from geartender.bench.procedures.places import beyond, endless, high, inward, low, room, to
from geartender.bench.procedures.work import Work
from geartender.bench.session import FoundWrong, Session
from geartender.build.measured import Measured
from geartender.servo.settings import backlash_deg, blow_nm, stiffness_nm_per_deg
from geartender.servo.units import WIRE

HOMINGS = 5
PASSES = 3
PASS_DEG_S = 2.0
"""deg per s over the mark: slow enough that the count at its edge is known to one."""

EDGE_SHARE = 0.08
"""Share of the travel at each end that no run goes into."""

VOLT_SHARES = (0.45, 0.45, 0.7, 0.7, 1.0, 1.0, 0.85, 0.85)
SLOW_COUNTS_S, SLOW_S = 200.0, 4.0
"""Counts per s of the slow runs, less than a count in two samples, and their time."""

RUN_S = 1.2
"""s of a run at most, and"""
RUN_LEAST_S = 0.3
"""s at least: several time constants of any such motor."""

SINKS_DEG = 1.5
"""deg that an output may give way by when drive is taken from it, play included; more, and it sinks."""

LEAST_DRAG = 0.3
"""Share of the motor's own friction that is left at least where the load pulls it along."""

LEARNT = 1.15
"""Times what a run did that the next is taken to do."""

SPEED_SAMPLES = 20
"""Samples over which the speed at the end of a run's drive is taken."""

DRAG_UNSURE = 0.65
"""Share of the drag by the sheet that a machine coasts out against at least, before it has been seen."""

UNSURE = 1.3
"""How much quicker than the sheet says a machine is taken to be before it has been seen."""

PRESS_SHARE = 0.5
"""Share of the overload torque to press a stop with."""

PRESS_S = 4.0
"""s to press at the full voltage: to read a meter. The winding warms by little."""

STOP_SEARCH_DEG = 10.0
"""deg beyond the travel in which an end stop is looked for."""

SHEET_OHM_SHARE = 0.05
"""Standard uncertainty of a winding's resistance that nobody has measured here."""

METER_SHARE, METER_DIGIT_A = 0.008, 0.001
"""What a common meter is good for; common practice, no source."""

FRICTION_SHARE, INERTIA_SHARE = 0.012, 0.025
"""What the model of one rigid drive leaves out, as shares: a train that gives, and loads that drive it for a moment."""

LOAD_SHARE = 0.3
"""Standard uncertainty of the sheet's inertia of the load, when it is taken off the whole."""

TITLES = (
    "Home, again and again",
    "The home mark, both ways",
    "Motor and friction",
    "Against the end stop",
    "What it all says",
)


async def measure(session: Session) -> Measured:
    """The whole procedure; gives what is to be kept. Raises FoundWrong, SessionOver, Refused."""
    work = Work.of(session)
    await homings(work)
    await the_mark(work)
    found = await runs(work)
    pressed = await against_the_stop(work)
    evaluate(work, found, pressed)
    before = session.servo.measured
    return before.model_copy(update={"values": {**before.values, **work.values}, "magnets": work.magnets})


# Home


async def homings(work: Work) -> None:
    """Home several times from both sides of a short way, and see where the edge is found."""
    session, hands, sheet = work.session, work.hands, work.session.servo.sheet
    session.step("homings", TITLES[0])
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
        await _holds(work)
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


async def _holds(work: Work) -> None:
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


async def the_mark(work: Work) -> None:
    """Pass the mark slowly both ways: its width, and the play that its near edge shows."""
    session, hands, sheet = work.session, work.hands, work.session.servo.sheet
    session.step("mark", TITLES[1])
    assert sheet.home is not None  # noqa: S101
    seek = -1 if sheet.home.seek == "down" else 1
    play = backlash_deg(session.servo.built)
    reach = play + 1.2
    found: list[mark.Passage] = []
    async with hands.within(
        Announcement(
            text=f"The output passes the edge of the home mark {PASSES} times, up to {reach:.1f}° beyond it.",
            moves_deg=2 * reach + 15,
            speed_deg_s=PASS_DEG_S * 1.5,
            torque_nm=0.6 * hands.overload_nm,
            time_s=PASSES * (4 * reach / PASS_DEG_S + 4),
        )
    ):
        await hands.ready()
        await to(work, inward(work, reach))
        await hands.trial({**hands.easy(0.6 * hands.overload_nm), **beyond(work, reach + 4)})
        await hands.arm()
        async with hands.recorded() as recording:
            for _ in range(PASSES):
                await hands.speed(seek * PASS_DEG_S, 2 * reach / PASS_DEG_S, hands.stuck())
                await hands.speed(-seek * PASS_DEG_S, 2 * reach / PASS_DEG_S, hands.stuck())
        record = work.keep("mark", recording)
        found = mark.passages(record)
        work.plot(
            "Over the home mark",
            "s",
            "counts",
            {"count": _curve(record), "mark": _curve_of(record, record.mark * 10.0)},
        )
    seen = mark.play(found, seek)
    if seen is None:
        session.say("The near edge of the mark was not passed both ways, so it says nothing of the play.")
        return
    per = work.scale.deg_per_count
    work.edge_play = seen
    session.say(f"Passed one way and the other, the edge lies {seen.value:.1f} counts apart ({seen.value * per:.2f}°).")


# The motor


@dataclass
class Runs:
    """The runs at held voltages, and what they say."""

    records: list[tuple[Record, float]]
    slow: int = 0
    """How many of them, from the first, are slow ones."""
    constants: motor.Constants | None = None


async def runs(work: Work) -> Runs:
    """Run up and down at held voltages and let it coast."""
    session, hands = work.session, work.hands
    session.step("runs", TITLES[2])
    found = Runs([])
    top = session.servo.sheet.motor.supply_v * session.servo.sheet.bridge.max_duty
    pace = Pace(work)
    async with hands.within(
        Announcement(
            text=f"The motor gets a held voltage {len(VOLT_SHARES) + 4} times, up and down in turn, and coasts out."
            f" The output moves within its travel.",
            moves_deg=room(work),
            speed_deg_s=session.servo.dynamics_top_deg_s * UNSURE,
            torque_nm=0.9 * hands.overload_nm,
            time_s=len(VOLT_SHARES) * (RUN_S + 2) + 4 * (SLOW_S + 2) + 20,
        )
    ):
        await hands.ready()
        await to(work, low(work) + EDGE_SHARE * room(work))
        for way in (1, -1, 1, -1):
            await _run(work, pace, found, way, None)
        found.slow = len(found.records)
        for number, share in enumerate(VOLT_SHARES):
            await _run(work, pace, found, 1 if number % 2 == 0 else -1, share * top)
    work.magnets = list(await _table(work, found))
    found.constants = await _constants(work, found)
    _show_runs(work, found)
    return found


class Pace:
    """How far a run at a voltage goes, by the sheet and what was seen; the weight of the load helps one way, not the other."""

    def __init__(self, work: Work) -> None:
        d = work.dynamics
        self.quick = {1: UNSURE, -1: UNSURE}
        """Times the speed by the sheet."""
        self.rolls = {1: 1 / DRAG_UNSURE, -1: 1 / DRAG_UNSURE}
        """Times the way by the sheet that it coasts from a speed."""
        self.drag_nm = {way: _drag_nm(work, way) for way in (1, -1)}
        self.ke, self.ohm, self.inertia = d.motor.kt_nm_per_a, d.motor.resistance_ohm, d.inertia_kg_m2
        self.per = work.scale.deg_per_count * d.counts_per_rad

    def drag_v(self, way: int) -> float:
        """The voltage that only just keeps it turning."""
        return self.drag_nm[way] * self.ohm / self.ke

    def speed_deg_s(self, way: int, volts: float) -> float:
        """Speed at a voltage by the sheet."""
        return max(volts - self.drag_v(way), 0.0) / self.ke * self.per

    def coast_deg(self, way: int, speed_deg_s: float) -> float:
        """Degrees to rest from a speed by the sheet."""
        return (speed_deg_s / self.per) ** 2 / 2 * self.inertia / self.drag_nm[way] * self.per

    def fitting(self, way: int, volts: float, room_deg: float) -> tuple[float, float]:
        """The voltage, or the highest below it that leaves a run long enough, and its time."""
        while volts > 1.5 * self.drag_v(way):
            speed = self.quick[way] * self.speed_deg_s(way, volts)
            for_s = min((room_deg - self.rolls[way] * self.coast_deg(way, speed)) / speed, RUN_S)
            if for_s >= RUN_LEAST_S:
                return volts, for_s
            volts *= 0.93
        return volts, 0.0

    def learn(self, way: int, volts: float, record: Record, deg_per_count: float) -> None:
        """A run has been; what it did is a little of what the next may do."""
        off = int(np.flatnonzero(record.duty != 0.0)[-1])
        began = max(off - SPEED_SAMPLES, 0)
        speed = abs(int(record.count[off] - record.count[began])) * deg_per_count / ((off - began) * record.step_s)
        coasted = abs(int(record.count[-1] - record.count[off])) * deg_per_count
        self.quick[way] = max(0.7, min(LEARNT * speed / self.speed_deg_s(way, volts), 2.0))
        if speed > 0:
            self.rolls[way] = max(0.3, min(LEARNT * coasted / self.coast_deg(way, speed), 4.0))


def _drag_nm(work: Work, way: int) -> float:
    """What opposes the motor's shaft while it turns that way in the middle of the travel, by the sheet."""
    load, d = work.session.servo.sheet.load, work.dynamics
    gain = work.scale.nm_per_a / d.motor.kt_nm_per_a
    efficiency = gain / work.dynamics_ratio
    weight = 0.0 if endless(work) else load.gravity_nm * middle_cosine(work)
    mesh = load.friction_nm + way * weight
    own = d.motor.no_load_current_a * d.motor.kt_nm_per_a
    return max(own + (mesh / gain if mesh > 0 else mesh * efficiency**2 / gain), LEAST_DRAG * own)


async def _run(work: Work, pace: Pace, found: Runs, way: int, wanted: float | None) -> None:
    """A run at the wanted voltage, or one so slow that each edge of the disc is seen by itself."""
    hands = work.hands
    here = hands.angle_deg
    space = (high(work) - here if way > 0 else here - low(work)) - EDGE_SHARE * room(work)
    play = backlash_deg(work.session.servo.built)
    if wanted is None:
        volts = (pace.drag_v(1) + pace.drag_v(-1)) / 2 + SLOW_COUNTS_S / work.dynamics.counts_per_volt_second
        for_s = min(SLOW_S, 0.9 * space / (SLOW_COUNTS_S * work.scale.deg_per_count))
    else:
        volts, for_s = pace.fitting(way, wanted, space - 1.5 * play)
    if for_s <= 0.0:
        return
    await hands.trial(hands.open_loop(0.9 * hands.overload_nm))
    await hands.arm()
    began = hands.count
    take_up = work.scale.counts(1.3 * play) + 4
    await hands.volts(way * min(2.0 * pace.drag_v(way), volts), 1.0, lambda: abs(hands.count - began) > take_up)
    await hands.arm()
    here = hands.angle_deg
    async with hands.recorded() as recording:
        await hands.volts(way * volts, for_s, lambda: _at_edge(work, way))
    record = work.keep(f"run-{len(found.records) + 1}", recording)
    found.records.append((record, here))
    if wanted is not None:
        pace.learn(way, volts, record, work.scale.deg_per_count)


def _at_edge(work: Work, way: int) -> bool:
    """Whether it has come as near to the end of the travel as a run may."""
    left = high(work) - work.hands.angle_deg if way > 0 else work.hands.angle_deg - low(work)
    return not endless(work) and left < 0.6 * EDGE_SHARE * room(work)


async def _table(work: Work, found: Runs) -> np.ndarray:
    """The disc's edges by all runs."""
    try:
        records = [record for record, _ in found.records]
        table, spread = await work.session.think(lambda: magnets.edges(records, work.edges))
    except ValueError as error:
        work.session.say(f"The disc's edges stay as they are on the sheet: {error}.")
        return np.zeros(work.edges)
    share = float(np.abs(table).max()) / 4
    work.session.say(f"The disc's edges lie up to {share:.1%} of a mark off their places, known to {spread / 4:.1%}.")
    work.plot(
        "Edges of the disc", "edge", "counts off", {"edge": [(k, float(v)) for k, v in enumerate(table)]}, dots=True
    )
    work.magnet_spread = spread
    return table


async def _constants(work: Work, found: Runs) -> motor.Constants:
    parts = []
    for number, (record, here) in enumerate(found.records):
        angle = np.radians(here + (record.count - record.count[0]) * work.scale.deg_per_count)
        slow = number < found.slow
        parts += motor.parts(record, number, work.rad_per_count, work.table, np.cos(angle), 3, slow=slow)
    try:
        return await work.session.think(lambda: motor.constants(parts, middle_cosine(work), _weight(work)))
    except ValueError as error:
        raise FoundWrong(
            "too-short",
            f"The runs say too little: {error}.",
            "Give it more travel, or look whether something holds it.",
        ) from None


def _weight(work: Work) -> motor.Weight | None:
    """What the sheet says of the load's weight, at the motor."""
    if endless(work):
        return None
    load, d = work.session.servo.sheet.load, work.dynamics
    ohm, ke = d.motor.resistance_ohm, d.motor.kt_nm_per_a
    gain = work.scale.nm_per_a / ke
    efficiency = gain / work.dynamics_ratio
    drives = abs(load.gravity_nm) > load.friction_nm
    up = load.gravity_nm / gain * ohm / ke
    down = -up * (efficiency**2 if drives else 1.0)
    return motor.Weight(
        up_v=up,
        down_v=down,
        floor_v=0.1 * d.friction_a * ohm,
        accel_per_volt=ke / (ohm * d.inertia_kg_m2),
        noise_rad=0.3 * work.rad_per_count,
    )


def middle_cosine(work: Work) -> float:
    """Cosine of the angle in the middle of the travel, where friction is told."""
    return math.cos(math.radians((low(work) + high(work)) / 2))


def _show_runs(work: Work, found: Runs) -> None:
    c = found.constants
    assert c is not None  # noqa: S101
    work.found("ke_v_s", c.ke_v_s)
    work.found("time_constant_s", c.time_constant_s)
    work.session.say(
        f"The motor makes {c.ke_v_s.value * 1000:.2f} mV for each rad/s (± {c.ke_v_s.uncertainty * 1000:.2f}), and follows"
        f" a voltage with {c.time_constant_s.value * 1000:.0f} ms."
    )
    rows = {}
    for number, (record, _) in enumerate(found.records):
        rows[f"run {number + 1}"] = _curve(record)
    work.plot("Runs at a held voltage", "s", "counts", rows)


# The stop


@dataclass
class Pressed:
    """What the end stop told."""

    volts: list[float]
    amps: list[float]
    volts_per_count: Value | None = None
    play: Value | None = None
    lift_v: float = math.nan
    arrived_deg_s: float = 0.0


async def against_the_stop(work: Work) -> Pressed:
    """Press the end stop where the weight rests on it, ask for the current, and cross the play backwards."""
    session, hands, sheet = work.session, work.hands, work.session.servo.sheet
    session.step("press", TITLES[3])
    pressed = Pressed([], [])
    if endless(work):
        session.report.steps[-1].state = "skipped"
        session.say("It turns for ever, so there is no stop: resistance and play stay those of the sheet.")
        return pressed
    way = -1 if sheet.load.gravity_nm >= 0 else 1
    torque = PRESS_SHARE * hands.overload_nm
    answer = await session.ask(
        Question(
            id="stop",
            kind="choice",
            text="Is there an end stop of metal or wood beyond the "
            + ("lower" if way < 0 else "upper")
            + " end of the travel, that the output may be pressed against?",
            choices=["yes", "no"],
        )
    )
    if answer == "no":
        session.report.steps[-1].state = "skipped"
        session.say("Without a stop the resistance is the sheet's, and the play is what the home mark shows.")
        return pressed
    meter = await session.ask(
        Question(
            id="meter",
            kind="choice",
            text="Is a meter for direct current in one of the motor's two wires, so that you can read it in a moment?",
            choices=["yes", "no"],
        )
    )
    async with hands.within(
        Announcement(
            text=f"The output goes to the {'lower' if way < 0 else 'upper'} stop, at most {STOP_SEARCH_DEG:.0f}° beyond"
            f" the travel, and presses it for {PRESS_S:.0f} s. Then the motor is turned round slowly.",
            moves_deg=room(work) + STOP_SEARCH_DEG + 5,
            speed_deg_s=sheet.limits.speed_deg_s if sheet.limits else 0.0,
            torque_nm=torque,
            time_s=STOP_SEARCH_DEG / PASS_DEG_S + PRESS_S + 60,
        )
    ):
        if not await _to_the_stop(work, way, torque):
            session.say(f"No stop within {STOP_SEARCH_DEG:.0f}° of the travel.")
            return pressed
        await _press(work, pressed, way, torque)
        if meter == "yes" and pressed.volts:
            amps = await session.ask(
                Question(
                    id="current",
                    kind="number",
                    unit="A",
                    text="What did the meter show while it pressed? Digits as shown; leave it out if you could not read it.",
                    optional=True,
                )
            )
            if amps is not None and abs(amps) > 0.0:
                pressed.amps = [abs(amps)]
        await _turn_round(work, pressed, way)
    return pressed


async def _to_the_stop(work: Work, way: int, torque: float) -> bool:
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


async def _press(work: Work, pressed: Pressed, way: int, torque: float) -> None:
    """A voltage that grows slowly to what presses with that torque, and stays there for a while."""
    hands, d = work.hands, work.dynamics
    drag = d.friction_a * d.motor.resistance_ohm
    volts = min(hands.load_ma(torque) / 1000 * d.motor.resistance_ohm, 0.9 * work.session.servo.sheet.motor.supply_v)
    rise = 2.0 * work.session.servo.sheet.motor.supply_v / volts
    await hands.trial({**hands.open_loop(1.05 * torque, rise), **beyond(work, STOP_SEARCH_DEG + 3)})
    await hands.arm()
    async with hands.recorded(2) as recording:
        await hands.volts(way * volts, rise * volts / work.session.servo.sheet.motor.supply_v + PRESS_S)
    record = work.keep("press", recording)
    driven = np.flatnonzero(record.duty != 0.0)
    if len(driven) < 50:
        return
    last = driven[-1]
    tail = slice(max(int(last) - 500, 0), int(last))
    pressed.volts = [float(np.mean(np.abs(record.volts[tail])))]
    work.plot(
        "Pressing the stop",
        "V",
        "counts of twist",
        {"twist": [(float(v), float(c)) for v, c in zip(*press.twist(record, way), strict=True)]},
        dots=True,
    )
    try:
        pressed.volts_per_count = press.volts_per_count(record.part(0, int(last)), way, drag)
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
    work.plot("Turned round at the stop", "s", "counts", {"count": _curve(record)})
    if seen is not None:
        pressed.play, pressed.lift_v = seen.counts, seen.lift_v
        pressed.arrived_deg_s = seen.arrived_counts_s * work.scale.deg_per_count


# Put together


def evaluate(work: Work, found: Runs, pressed: Pressed) -> None:
    """From volts and times to ohms, newton metres and inertia."""
    session = work.session
    session.step("evaluate", TITLES[4])
    c = found.constants
    assert c is not None  # noqa: S101
    d = work.dynamics
    if pressed.amps:
        ohm = motor.resistance(pressed.volts, pressed.amps, METER_SHARE, METER_DIGIT_A)
        work.found("winding_ohm", ohm)
        session.say(f"The winding has {ohm.value:.2f} Ω (± {ohm.uncertainty:.2f}).")
    else:
        ohm = Value(d.motor.resistance_ohm, SHEET_OHM_SHARE * d.motor.resistance_ohm)
        session.say("Nobody read a meter, so torque and inertia rest on the sheet's winding resistance (± 5 %).")
    whole = motor.inertia(c, ohm).with_share(INERTIA_SHARE)
    load = max(d.inertia_kg_m2 - d.rotor_kg_m2, 0.0)
    rotor = Value(max(whole.value - load, 0.05 * whole.value), math.hypot(whole.uncertainty, LOAD_SHARE * load))
    work.found("inertia_kg_m2", whole)
    work.found("rotor_inertia_kg_m2", rotor)
    shaft = product(1.0, (c.ke_v_s, 1), (ohm, -1))
    up, down = (product(1.0, (volts, 1), (shaft, 1)).with_share(FRICTION_SHARE) for volts in c.drag_volts)
    work.found("friction_up_nm", up)
    work.found("friction_down_nm", down)
    work.found("friction_nm", Value((up.value + down.value) / 2, math.hypot(up.uncertainty, down.uncertainty) / 2))
    viscous = Value(max(c.viscous_per_s.value, 0.0) * whole.value, c.viscous_per_s.uncertainty * whole.value)
    work.found("viscous_nm_s", viscous)
    _supply(work, found, c, ohm)
    _stiffness(work, pressed, shaft)
    _play(work, pressed, shaft)
    if math.isfinite(pressed.lift_v):
        work.found("breakaway_nm", product(pressed.lift_v, (shaft, 1)).with_share(0.05))
    session.say(
        f"Running friction at the motor's shaft: {up.value * 1000:.2f} mN·m up, {down.value * 1000:.2f} mN·m down."
        f" The rotor's inertia is {rotor.value * 1e7:.2f} g·cm² (± {rotor.uncertainty * 1e7:.2f})."
    )


def _supply(work: Work, found: Runs, c: motor.Constants, ohm: Value) -> None:
    """Open voltage and resistance of the supply, from all samples of telemetry under load."""
    rows = [row for record, _ in found.records for row in _steady(work, record, c, ohm)]
    if len({round(row[0], 2) for row in rows}) < 3:
        return
    volts, source = motor.supply(rows)
    work.found("supply_v", volts)
    work.found("supply_ohm", Value(max(source.value, 0.0), math.hypot(source.uncertainty, 0.1 * source.value + 0.01)))


def _steady(work: Work, record: Record, c: motor.Constants, ohm: Value) -> list[tuple[float, float, float]]:
    """A row of (supply, duty, current) from the even part of a run, and one from its coasting."""
    off = np.flatnonzero(record.duty != 0.0)
    if len(off) == 0:
        return []
    last = int(off[-1])
    first = max(last - 100, int(off[0]) + round(4 * c.time_constant_s.value / record.step_s))
    if last - first < 25:
        return []
    even = record.part(first, last)
    speed = np.polyfit(even.t_s - even.t_s[0], even.count, 1)[0] * work.rad_per_count
    amps = (float(np.mean(even.volts)) - c.ke_v_s.value * speed) / ohm.value
    return [
        (float(np.mean(even.supply_v)), float(np.mean(even.duty)), float(amps)),
        (float(record.supply_v[-1]), 0.0, 0.0),
    ]


def _untwisted(work: Work, seen: Value, pressed: Pressed, shaft: Value) -> Value:
    """The play without what the train was twisted by where the rotor met the other flank."""
    stiffness = work.value("stiffness_nm_per_deg") or stiffness_nm_per_deg(work.session.servo.sheet)
    gain = work.scale.nm_per_a / work.dynamics.motor.kt_nm_per_a
    if not math.isfinite(pressed.lift_v):
        return seen
    servo = work.session.servo
    lift_nm = max(pressed.lift_v, 0.0) * shaft.value * gain
    blow = blow_nm(servo.dynamics, servo.built, math.radians(pressed.arrived_deg_s))
    # it met the other flank somewhere between without twist and with all that lifts the load, or its own swing wound it up further
    twist = max(lift_nm / 2, blow) / stiffness / work.scale.deg_per_count
    return Value(max(seen.value - twist, 0.0), math.hypot(seen.uncertainty, 0.4 * twist))


def _play(work: Work, pressed: Pressed, shaft: Value) -> None:
    edge = work.edge_play
    seen = pressed.play
    if seen is not None:
        seen = _untwisted(work, seen, pressed, shaft)
    if edge is not None and edge.value >= 2.0 and (seen is None or edge.value > seen.value):
        seen = edge
    if seen is None:
        work.session.say("The play was not seen: the load never changed the side of the teeth it lies on.")
        return
    per = work.scale.deg_per_count
    work.found("backlash_counts", seen)
    work.found("backlash_deg", seen.scaled(per))
    work.session.say(f"The play of the train is {seen.value:.0f} counts, {seen.value * per:.2f}° of the output.")


def _stiffness(work: Work, pressed: Pressed, shaft: Value) -> None:
    if pressed.volts_per_count is None:
        return
    gain = work.scale.nm_per_a / work.dynamics.motor.kt_nm_per_a
    nm = product(gain / work.scale.deg_per_count, (pressed.volts_per_count, 1), (shaft, 1)).with_share(0.1)
    work.found("stiffness_nm_per_deg", nm)
    work.session.say(f"The train gives by a degree for {nm.value:.0f} N·m (± {nm.uncertainty:.0f}).")


# Small things


def _curve(record: Record) -> list[tuple[float, float]]:
    return _curve_of(record, record.count - record.count[0])


def _curve_of(record: Record, values: np.ndarray) -> list[tuple[float, float]]:
    return [(float(t), float(v)) for t, v in zip(record.t_s, values, strict=True)]
