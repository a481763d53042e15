"""The supply, at rest."""

from __future__ import annotations

import asyncio

from geartender.bench.estimators.fit import Value
from geartender.bench.procedures.work import Work
from geartender.bench.session import FoundWrong

TITLE = "The supply"

SUPPLY_SHARE = 0.12
"""Share by which the supply may be off the sheet's voltage: an adapter is within a twentieth, a battery within this."""


async def the_supply(work: Work) -> None:
    """What the board sees of the supply, at rest."""
    session = work.session
    session.step("supply", TITLE)
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
