"""Break-away: the voltage at which it begins to turn, at several angles and both ways."""

from __future__ import annotations

from dataclasses import dataclass

from geartender.bench.estimators.breakaway import EDGES, Loose, volts_at_start
from geartender.bench.estimators.fit import Value
from geartender.bench.estimators.motor import Constants
from geartender.bench.models import Announcement
from geartender.bench.procedures.measure.pace import Pace
from geartender.bench.procedures.measure.runs import Run
from geartender.bench.procedures.places import low, room, take_up_deg, to
from geartender.bench.procedures.work import Work

TITLE = "Break-away, from place to place"

PLACES = 5
EDGE_SHARE = 0.12
"""Share of the travel at each end in which it is not tried."""

RAMP_S, GROWS_S = 1.5, 6.0
"""s in which the voltage grows to what should turn it, and for which it grows at most."""

CREEP_COUNTS_S = 12.0
"""Counts per s at which the play is taken up: so slowly that a heavy load does not run on when the motor rests."""

COUNTS, LEAST_COUNTS = 80, 30
"""Counts to turn by: many tell the friction better, and they must not lead far away, so"""
LONG_SHARE = 0.04
"""share of the travel that one start may take."""


@dataclass(frozen=True, slots=True)
class BrokeAway:
    """Where it was tried, which way, and the voltage that it took."""

    deg: float
    way: int
    volts: Value


async def starts(work: Work) -> dict[int, list[Run]]:
    """At each place, up and down, the voltage grows slowly from rest until it has turned for a while; by the way it turned."""
    session, hands, sheet = work.session, work.hands, work.session.servo.sheet
    session.step("breakaway", TITLE)
    pace, edge = Pace(work), EDGE_SHARE * room(work)
    places = [low(work) + edge + number * (room(work) - 2 * edge) / (PLACES - 1) for number in range(PLACES)]
    counts = max(LEAST_COUNTS, min(COUNTS, round(work.scale.counts(LONG_SHARE * room(work)))))
    found: dict[int, list[Run]] = {1: [], -1: []}
    async with hands.within(
        Announcement(
            text=f"The output goes to {PLACES} places, up and then down. At each the drive grows slowly until it just turns.",
            moves_deg=room(work),
            speed_deg_s=sheet.limits.speed_deg_s if sheet.limits else 0.0,
            torque_nm=hands.overload_nm,
            time_s=2 * PLACES * (GROWS_S + 16) + 20,
        )
    ):
        await hands.ready()
        for way, runs in found.items():
            ordered = places[::way]
            for place in ordered:
                begins = place - way * counts / 2 * work.scale.deg_per_count
                await to(work, begins - way * take_up_deg(work))
                await to(work, begins, CREEP_COUNTS_S * work.scale.deg_per_count)
                run = await _grow(work, pace, way, counts)
                if run is not None:
                    runs.append(run)
                await hands.ready()
    return found


async def _grow(work: Work, pace: Pace, way: int, counts: int) -> Run | None:
    """A voltage that grows until the disc has turned; None where it did not."""
    hands, supply = work.hands, work.session.servo.sheet.motor.supply_v
    per_s = (pace.drag_v(1) + pace.drag_v(-1)) / 2 / RAMP_S
    most = min(per_s * GROWS_S, supply)
    await hands.trial(hands.open_loop(0.9 * hands.overload_nm, supply / per_s))
    await hands.arm()
    began, here = hands.count, hands.angle_deg
    async with hands.recorded() as recording:
        await hands.volts(way * most, GROWS_S, lambda: abs(hands.count - began) > counts)
    ways = "up" if way > 0 else "down"
    record = work.keep(f"breakaway-{ways}-{round(here)}", recording)
    if abs(int(record.count[-1]) - int(record.count[0])) <= EDGES:
        work.session.say(f"Up to {most:.1f} V it did not turn {ways} at {here:.0f}°.")
        return None
    return Run(record, here, slow=True)


def broke_away(work: Work, found: dict[int, list[Run]], constants: Constants) -> list[BrokeAway]:
    """The voltage that each start took."""
    loose = Loose(constants.ke_v_s.value, constants.time_constant_s.value, work.rad_per_count)
    seen = []
    for way, runs in found.items():
        for run in runs:
            try:
                seen.append(BrokeAway(run.from_deg, way, volts_at_start(run.record, way, loose)))
            except ValueError as error:
                work.session.say(f"{'Up' if way > 0 else 'Down'} at {run.from_deg:.0f}°: {error}.")
    return seen
