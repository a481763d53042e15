"""Break-away: the voltage at which it begins to turn, at several angles and both ways."""

from __future__ import annotations

from dataclasses import dataclass

from geartender.bench.estimators.breakaway import EDGES, Loose, volts_at_start
from geartender.bench.estimators.fit import Value
from geartender.bench.estimators.motor import Constants
from geartender.bench.models import Announcement
from geartender.bench.procedures.measure.pace import Pace
from geartender.bench.procedures.places import low, room, to
from geartender.bench.procedures.work import Work

TITLE = "Break-away, from place to place"

PLACES = 5
EDGE_SHARE = 0.12
"""Share of the travel at each end in which it is not tried."""

RAMP_S = 1.5
"""s in which the voltage grows to what should turn it, and"""
FURTHER = 3.0
"""times that voltage up to which it goes on growing."""


@dataclass(frozen=True, slots=True)
class BrokeAway:
    """Where it was tried, which way, and the voltage that it took."""

    deg: float
    way: int
    volts: Value


async def breakaway(work: Work, constants: Constants) -> list[BrokeAway]:
    """At each place, up and down: come from behind, so that the teeth touch; rest; and let the voltage grow until it turns."""
    session, hands, sheet = work.session, work.hands, work.session.servo.sheet
    session.step("breakaway", TITLE)
    pace, edge = Pace(work), EDGE_SHARE * room(work)
    step = (room(work) - 2 * edge) / (PLACES - 1)
    places = [low(work) + edge + number * step for number in range(PLACES)]
    found: list[BrokeAway] = []
    async with hands.within(
        Announcement(
            text=f"The output goes to {PLACES} places, up and then down. At each the drive grows slowly until it just turns.",
            moves_deg=room(work),
            speed_deg_s=sheet.limits.speed_deg_s if sheet.limits else 0.0,
            torque_nm=hands.overload_nm,
            time_s=2 * PLACES * (FURTHER * RAMP_S + 8) + 20,
        )
    ):
        await hands.ready()
        for way in (1, -1):
            ordered = places[::way]
            await to(work, ordered[0] - way * edge / 2)
            for place in ordered:
                await to(work, place)
                seen = await _grow(work, pace, constants, way)
                if seen is not None:
                    found.append(BrokeAway(place, way, seen))
                await hands.ready()
    return found


async def _grow(work: Work, pace: Pace, constants: Constants, way: int) -> Value | None:
    """A voltage that grows slowly until the disc has turned for certain; None where it did not."""
    hands, supply = work.hands, work.session.servo.sheet.motor.supply_v
    seen = abs(constants.drag_volts[0 if way > 0 else 1].value)
    volts = max(seen, 0.3 * pace.drag_v(way))
    per_s = volts / RAMP_S
    await hands.trial(hands.open_loop(0.9 * hands.overload_nm, supply / per_s))
    await hands.arm()
    began = hands.count
    async with hands.recorded() as recording:
        await hands.volts(
            way * min(FURTHER * volts, supply), FURTHER * RAMP_S, lambda: abs(hands.count - began) > 2 * EDGES
        )
    name = f"breakaway-{'up' if way > 0 else 'down'}-{round(hands.angle_deg)}"
    record = work.keep(name, recording)
    loose = Loose(constants.ke_v_s.value, constants.time_constant_s.value, work.rad_per_count)
    try:
        return volts_at_start(record, way, loose)
    except ValueError as error:
        work.session.say(f"{'Up' if way > 0 else 'Down'} at {hands.angle_deg:.0f}°: {error}.")
        return None
