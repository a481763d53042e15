"""Tells the service manager that the service goes on: only while the loop, every link and the store have each made progress.

A process that answers but whose link hangs in a driver, or whose disk never comes back, is no use to anybody: it is left to be
killed and started again, and the firmware has stopped by its own silence rule long before.
"""

from __future__ import annotations

import asyncio
import logging

from geartender.api.service import Service
from geartender.world.supervisor import ALIVE, Supervisor

log = logging.getLogger(__name__)

LOOKS_PER_PERIOD = 4
"""Looks in the time that the service manager allows: it takes three in a row without progress until it acts."""


class Watchdog:
    """Looks at everything that must go on. `run` must be under way."""

    def __init__(self, service: Service, supervisor: Supervisor) -> None:
        self._service = service
        self._supervisor = supervisor
        self._turns: dict[str, int] = {}
        self._asked: asyncio.Future[None] | None = None

    async def run(self) -> None:
        """Look again and again, for ever; returns at once when nobody counts. Ends by cancellation otherwise."""
        if self._supervisor.watchdog_s is None:
            return
        while True:
            still = self.without_progress()
            if still:
                log.error("no progress, so the service manager is not told of any: %s", ", ".join(still))
            else:
                self._supervisor.tell(ALIVE)
            await asyncio.sleep(self._supervisor.watchdog_s / LOOKS_PER_PERIOD)

    def without_progress(self) -> list[str]:
        """What has made none since the last look; the loop has, or nobody would look."""
        links = [name for name in self._service.servos if not self._link_went_on(name)]
        return [*(f"link of {name}" for name in links), *([] if self._store_went_on() else ["store"])]

    def _link_went_on(self, name: str) -> bool:
        link = self._service.servos[name].link
        before, self._turns[name] = self._turns.get(name), link.turns
        return link.released or link.turns != before

    def _store_went_on(self) -> bool:
        """Whether the store's worker has done what it was given at the last look; gives it something anew if so."""
        if self._asked is not None and not self._asked.done():
            return False
        self._asked = self._service.store.in_background(lambda: None)
        self._asked.add_done_callback(lambda asked: asked.cancelled() or asked.exception())
        return True
