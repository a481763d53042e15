"""What the routes work with: the servos, their documents, the world, and what `demo` adds."""

from __future__ import annotations

import asyncio
from collections import Counter
from dataclasses import dataclass, field
from typing import Protocol

from geartender.access import Addresses
from geartender.access.admissions import Admissions
from geartender.access.cookies import Cookie
from geartender.api.battery import BatteryGauge
from geartender.api.metrics import Metrics
from geartender.api.once import Once
from geartender.api.shelf import Shelf
from geartender.api.train_search import TrainSearch
from geartender.api.webhook import Webhook
from geartender.bench.benches import Benches
from geartender.bench.health.watcher import Health
from geartender.errors import Unknown
from geartender.sequences.keeper import Timekeeper
from geartender.sequences.runs import Runs
from geartender.sequences.timetable import Site
from geartender.servo.servo import Servo
from geartender.store import Store
from geartender.world import World
from geartender.world.worker import Worker

Truth = dict[str, float]
"""What the simulated mechanics really do, with the field names of the truth file."""


class Simulation(Protocol):
    """A simulated servo under this service, only with `demo`."""

    async def truth(self) -> Truth:
        """The state of the mechanics now. Raises Offline when the simulator is gone."""
        ...

    async def command(self, line: str) -> None:
        """Obey a trouble command (`jam`, `load 0.3` …). Raises Invalid when the simulator does not understand it."""
        ...


@dataclass
class Service:
    """Everything a request may need. Made by `create_app`, one for each application."""

    world: World
    shelf: Shelf
    store: Store
    servos: dict[str, Servo]
    once: Once
    runs: Runs
    site: Site
    timekeeper: Timekeeper
    battery: BatteryGauge
    admissions: Admissions
    cookie: Cookie
    addresses: Addresses
    page_url: str
    """Where a person opens the page from another machine, with its scheme and the slash at its end."""
    network_url: str
    """The address at which it listens, for others in its network."""
    local_url: str
    """Where a program on this machine reaches the service."""
    benches: Benches
    wear: Health
    previews: Worker
    """Where previews are put together: a long one must not hold up the beat that the firmware waits for."""
    metrics: Metrics
    simulation: Simulation | None = None
    trains: TrainSearch = field(default_factory=TrainSearch)
    configuration: str = "{}"
    """The configuration in force as JSON, without its secrets."""
    temporary_folder: str | None = None
    """Where what is too large for memory may lie for a while; None is the machine's own place."""
    webhook: Webhook | None = None
    live_sockets: Counter[str] = field(default_factory=Counter)
    """Sockets open, by the phone or key; those of whoever is on this machine by an empty name."""
    unnamed_sockets: int = 0
    """Sockets of which it is not known yet who they are."""
    changing_documents: asyncio.Lock = field(default_factory=asyncio.Lock)
    """Held from the check of a revision to its replacement, so that two writers cannot both pass the check."""
    crashed: asyncio.Event = field(default_factory=asyncio.Event)
    """Set when a task that must run for ever has ended: the process is to end, and to be started again."""

    def servo(self, name: str) -> Servo:
        """The servo of that name. Raises Unknown."""
        try:
            return self.servos[name]
        except KeyError:
            known = ", ".join(self.servos) or "none"
            raise Unknown(f"There is no servo of that name here. Servos of this service: {known}.") from None

    def helms_of(self, credential: str) -> list[str]:
        """The servos of which a phone or key holds the helm."""
        return [name for name, servo in self.servos.items() if _holds(servo, credential)]

    def give_back_helms(self, credential: str) -> None:
        """Let go of every helm that a phone or key holds."""
        for servo in self.servos.values():
            holder = servo.helm_holder
            if holder is not None and holder.credential == credential:
                servo.give_helm(holder)

    async def revoke(self, credential: str, by: str) -> None:
        """Let a phone or key in no longer: its sockets and jogs end at once, its helms are free. Raises Unknown, NotStored."""
        self.give_back_helms(credential)
        await self.admissions.revoke(credential, by)


def _holds(servo: Servo, credential: str) -> bool:
    return servo.helm_holder is not None and servo.helm_holder.credential == credential
