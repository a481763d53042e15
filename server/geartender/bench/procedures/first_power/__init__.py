"""First power: from a machine that has never been driven to one that is trusted. What is wrong is named, with its cure.

One module for each step, in this order: `supply`, `sensors`, `nudge`, `home` (with `spin` and `sweep`), `travel`, `counts`.
"""

from __future__ import annotations

from geartender.bench.procedures.first_power import counts, home, nudge, sensors, supply, travel
from geartender.bench.procedures.work import Work
from geartender.bench.session import Session
from geartender.build.measured import Measured


async def first_power(session: Session) -> Measured:
    """The whole procedure. Raises FoundWrong, SessionOver, Refused."""
    work = Work.of(session)
    await supply.the_supply(work)
    await sensors.by_hand(work)
    await nudge.the_nudge(work)
    await home.find_home(work)
    await travel.how_far(work)
    await counts.every_count(work)
    before = session.servo.measured
    return before.model_copy(update={"values": {**before.values, **work.values}})
