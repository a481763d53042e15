"""How much of its battery each servo has used since it was full, reckoned from motions and standby; and a notice in time.

A reckoning, not a measurement: it counts what the motor draws while it moves (|current · duty|, by the motor model) and the sheet's
standby, each by Peukert's law; what holding a load at rest draws, age and cold are not in it.
"""

from __future__ import annotations

import asyncio
import logging
from collections.abc import Callable, Mapping, Sequence
from itertools import pairwise

from geartender.build import BuildSheet
from geartender.build.battery import hours
from geartender.errors import NotStored
from geartender.servo.models import TraceRow
from geartender.servo.motions import Motion
from geartender.servo.servo import Servo
from geartender.store import Store
from geartender.store.notices import Change, Notice

log = logging.getLogger(__name__)

KIND = "battery"
TICK_S = 600.0
"""s between two looks; a standby takes weeks."""

LOW = 0.8
"""Share used at which it is said: lead and lithium batteries alike last longer when no more is taken."""

STEP = 0.05
"""Share by which the notice is renewed, so that it is not written anew every ten minutes."""

CHARGE = "Charge it, then put this aside: the count begins anew. It is a reckoning, not a measurement."


class BatteryGauge:
    """Counts for all servos whose sheet names a battery and its capacity."""

    def __init__(self, store: Store, servos: Mapping[str, Servo], monotonic: Callable[[], float]) -> None:
        self._store = store
        self._servos = servos
        self._monotonic = monotonic
        self._used: dict[str, float] = {}
        """Share of the charge used, by servo."""
        store.notices.listen(self._told)

    async def run(self) -> None:
        """Count the standby and keep the count, for ever. Ends by cancellation only."""
        try:
            for name, state in (await self._store.states(KIND)).items():
                self._used[name] = self._used.get(name, 0.0) + float(state["used"])
        except NotStored as refused:
            log.warning("%s", refused)
        while True:
            began = self._monotonic()
            await asyncio.sleep(TICK_S)
            passed_h = (self._monotonic() - began) / 3600.0
            for name, servo in self._servos.items():
                supply = servo.sheet.supply
                self._add(name, servo.sheet, supply.standby_w / servo.sheet.motor.supply_v, passed_h)
            await self._keep()

    def ended(self, motion: Motion) -> None:
        """Count what a motion drew."""
        servo = self._servos.get(motion.servo)
        if servo is not None:
            for current_a, passed_h in drawn(motion.trace):
                self._add(motion.servo, servo.sheet, current_a, passed_h)

    def used(self, servo: str) -> float:
        """Share of the charge that a servo has used."""
        return self._used.get(servo, 0.0)

    def _add(self, name: str, sheet: BuildSheet, current_a: float, passed_h: float) -> None:
        supply = sheet.supply
        if supply.kind != "battery" or supply.capacity_ah is None or current_a <= 0.0:
            return
        lasts_h = hours(supply.capacity_ah, supply.rated_hours, current_a, supply.peukert_exponent)
        self._used[name] = self._used.get(name, 0.0) + passed_h / lasts_h

    async def _keep(self) -> None:
        for name, used in self._used.items():
            if used >= LOW:
                shown = min(1.0, used // STEP * STEP)
                text = f"The battery of {name} has used about {shown:.0%} of its charge since it was full."
                self._store.notices.set(KIND, name, text, CHARGE, servo=name, lasting=True)
            try:
                await self._store.set_state(KIND, name, {"used": round(used, 6)})
            except NotStored as refused:
                log.warning("%s", refused)

    def _told(self, change: Change, notice: Notice) -> None:
        if notice.kind == KIND and change == "cleared":
            self._used[notice.name] = 0.0


def drawn(rows: Sequence[TraceRow]) -> list[tuple[float, float]]:
    """What a trace says was drawn from the supply: currents in A, each with the hours it was drawn for."""
    return [(abs(row.current_a * row.duty), (after.t_s - row.t_s) / 3600.0) for row, after in pairwise(rows)]
