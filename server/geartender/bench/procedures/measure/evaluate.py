"""What it all says: from volts and times to ohms, newton metres and inertia."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from geartender.bench.estimators import motor
from geartender.bench.estimators.fit import Value, product
from geartender.bench.estimators.record import Record
from geartender.bench.procedures.measure.breakaway import BrokeAway, broke_away
from geartender.bench.procedures.measure.constants import constants
from geartender.bench.procedures.measure.runs import Run
from geartender.bench.procedures.measure.stop import Pressed
from geartender.bench.procedures.work import Work
from geartender.servo.settings import Dynamics

TITLE = "What it all says"

SHEET_OHM_SHARE = 0.05
"""Standard uncertainty of a winding's resistance that nobody has measured here."""

SUPPLY_V = 0.002
"""V that the supply of telemetry may be off by its own steps."""

METER_SHARE, METER_DIGIT_A = 0.008, 0.001
"""What a common meter is good for; common practice, no source."""

FRICTION_SHARE, INERTIA_SHARE = 0.012, 0.035
"""What the model of one rigid drive leaves out, as shares: a train that gives, and loads that drive it for a moment."""

LOAD_SHARE, ROTOR_SHARE, GUESSED_SHARE = 0.3, 0.2, 0.5
"""Standard uncertainty of the sheet's inertias of load and rotor, and of a rotor's that no sheet gives: what is measured is both
together."""

LEAST_SHARE = 0.05
"""Share of the whole inertia that the rotor has at least."""


async def evaluate(work: Work, runs: Sequence[Run], starts: dict[int, list[Run]], pressed: Pressed) -> None:
    """From volts and times to ohms, newton metres and inertia."""
    session = work.session
    session.step("evaluate", TITLE)
    c = await constants(work, runs, [run for way in starts.values() for run in way])
    ohm = _ohm(work, pressed)
    _inertia(work, c, ohm)
    shaft = product(1.0, (c.ke_v_s, 1), (ohm, -1))
    _friction(work, c, shaft)
    _breakaway(work, broke_away(work, starts, c), shaft)
    _supply(work, runs, c, ohm)
    _stiffness(work, pressed, shaft)
    _play(work, pressed)


def _ohm(work: Work, pressed: Pressed) -> Value:
    """The winding's resistance, by the meter or else by the sheet."""
    if pressed.amps:
        ohm = motor.resistance(pressed.volts, pressed.amps, METER_SHARE, METER_DIGIT_A)
        work.found("winding_ohm", ohm)
        work.session.say(f"The winding has {ohm.value:.2f} Ω (± {ohm.uncertainty:.2f}).")
        return ohm
    designed = work.dynamics.motor.resistance_ohm
    work.session.say("Nobody read a meter, so torque and inertia rest on the sheet's winding resistance (± 5 %).")
    return Value(designed, SHEET_OHM_SHARE * designed)


def _inertia(work: Work, c: motor.Constants, ohm: Value) -> None:
    sheet = work.session.servo.sheet
    designed = Dynamics.of(sheet, work.scale)
    whole = motor.inertia(c, ohm).with_share(INERTIA_SHARE)
    load = designed.inertia_kg_m2 - designed.rotor_kg_m2
    share = ROTOR_SHARE if sheet.motor.rotor_inertia_kg_m2 else GUESSED_SHARE
    rotor = motor.split(
        whole,
        Value(designed.rotor_kg_m2, share * designed.rotor_kg_m2),
        Value(load, LOAD_SHARE * max(load, designed.rotor_kg_m2)),
    )
    rotor = Value(max(rotor.value, LEAST_SHARE * whole.value), rotor.uncertainty)
    work.found("inertia_kg_m2", whole)
    work.found("rotor_inertia_kg_m2", rotor)
    viscous = Value(max(c.viscous_per_s.value, 0.0) * whole.value, c.viscous_per_s.uncertainty * whole.value)
    work.found("viscous_nm_s", viscous)
    work.session.say(f"The rotor's inertia is {rotor.value * 1e7:.2f} g·cm² (± {rotor.uncertainty * 1e7:.2f}).")


def _friction(work: Work, c: motor.Constants, shaft: Value) -> None:
    up, down = (product(1.0, (volts, 1), (shaft, 1)).with_share(FRICTION_SHARE) for volts in c.drag_volts)
    work.found("friction_up_nm", up)
    work.found("friction_down_nm", down)
    work.found("friction_nm", Value((up.value + down.value) / 2, math.hypot(up.uncertainty, down.uncertainty) / 2))
    work.session.say(
        f"Running friction at the motor's shaft: {up.value * 1000:.2f} mN·m up, {down.value * 1000:.2f} mN·m down."
    )


def _breakaway(work: Work, loose: Sequence[BrokeAway], shaft: Value) -> None:
    """From place to place, and on the average of all places and both ways."""
    ways = [[one for one in loose if one.way == way] for way in (1, -1)]
    if not all(ways):
        work.session.say("It did not break away both ways, so nothing is said of what that takes.")
        return
    torques = [[(one.deg, one.volts.value * shaft.value * 1000) for one in way] for way in ways]
    work.plot("Break-away over the angle", "°", "mN·m", dict(zip(("up", "down"), torques, strict=True)), dots=True)
    means = [float(np.mean([one.volts.value for one in way])) for way in ways]
    volts = Value(sum(means) / 2, math.hypot(*(one.volts.uncertainty / len(loose) for one in loose)))
    work.found("breakaway_nm", product(1.0, (volts, 1), (shaft, 1)).with_share(FRICTION_SHARE))
    every = [nm for way in torques for _, nm in way]
    work.session.say(f"It breaks away with {min(every):.2f} to {max(every):.2f} mN·m at the motor's shaft.")


def _supply(work: Work, runs: Sequence[Run], c: motor.Constants, ohm: Value) -> None:
    """Open voltage and resistance of the supply, from all samples of telemetry under load."""
    rows = [row for run in runs for row in _steady(work, run.record, c, ohm)]
    if len({round(row[0], 2) for row in rows}) < 3:
        return
    volts, source = motor.supply(rows)
    work.found("supply_v", Value(volts.value, math.hypot(volts.uncertainty, SUPPLY_V)))
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


def _play(work: Work, pressed: Pressed) -> None:
    edge = work.edge_play
    seen = pressed.play
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
