"""Measure: home and its mark, the motor and its friction, the disc's edges, the train against an end stop.

One module for a step, in this order: `homings`, `mark`, `runs` (with `pace`), `breakaway`, `stop`, `evaluate` (with `constants`).
"""

from __future__ import annotations

from geartender.bench.procedures.measure import breakaway, evaluate, homings, mark, runs, stop
from geartender.bench.procedures.work import Work
from geartender.bench.session import Session
from geartender.build.measured import Measured


async def measure(session: Session) -> Measured:
    """The whole procedure; gives what is to be kept. Raises FoundWrong, SessionOver, Refused."""
    work = Work.of(session)
    await homings.homings(work)
    await mark.the_mark(work)
    found = await runs.runs(work)
    starts = await breakaway.starts(work)
    pressed = await stop.against_the_stop(work)
    await evaluate.evaluate(work, found, starts, pressed)
    before = session.servo.measured
    return before.model_copy(update={"values": {**before.values, **work.values}, "magnets": work.magnets})
