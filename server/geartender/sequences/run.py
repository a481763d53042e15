"""One run of a sequence: its state, who interrupts it, holding and going on. Time comes from the world that is handed in."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from geartender.errors import Busy
from geartender.sequences.model import Sequence
from geartender.sequences.run_models import UNDER_WAY, RunReport, RunState
from geartender.servo.claims import Interruption
from geartender.servo.motions import Who
from geartender.servo.servo import Servo
from geartender.world import World

ENDS_AS = {
    Interruption.PERSON: RunState.STOPPED,
    Interruption.FAULT: RunState.FAULTED,
    Interruption.LOST: RunState.FAULTED,
}


class RunOver(Exception):
    """The run ends here."""

    def __init__(self, state: RunState, reason: str) -> None:
        super().__init__(reason)
        self.state = state
        self.reason = reason


@dataclass(frozen=True, slots=True)
class Order:
    """What is to be run, for whom."""

    name: str
    sequence: Sequence
    servo: str | None
    asker: Who
    planned_s: float
    steps_total: int


class Run:
    """A run from the asking to its end. It holds its servos; a person's Stop, and taking the helm, ends it at once."""

    def __init__(self, run_id: str, order: Order, servos: Mapping[str, Servo], world: World) -> None:
        self._id = run_id
        self.order = order
        self.servos = dict(servos)
        self._now, self._wall = world.monotonic, world.wall
        asker = order.asker
        via = "timetable" if asker.via == "timetable" else "run"
        self._who = Who(f"run {run_id}", f"{order.name}, started by {asker.label}", asker.role, via, run_id)
        self.state = RunState.QUEUED
        self.asked_at = self._wall()
        self.started_at: datetime | None = None
        self.ended_at: datetime | None = None
        self.actual_s: float | None = None
        self.reason: str | None = None
        self.steps_begun = 0
        self.out: dict[str, str] = {}
        """Servos that take no further part, and why: a fault, and the sequence said skip."""
        self._over: RunOver | None = None
        self._change = asyncio.Event()
        self._ended = asyncio.Event()
        self._began = self._held_since = self._held_s = 0.0

    # As the servo sees it

    @property
    def id(self) -> str:
        """Shown as `run` in the snapshot of its servos."""
        return self._id

    @property
    def who(self) -> Who:
        """In whose name it commands."""
        return self._who

    def interrupted(self, servo: str, by: Interruption, reason: str) -> None:
        """A servo was taken away. All others come to rest at once, unless the sequence says that they go on."""
        if self._over is not None or self.state not in UNDER_WAY:
            return
        if by is not Interruption.PERSON and self.order.sequence.on_fault == "skip":
            self.out[servo] = reason
            if len(self.out) < len(self.servos):
                self._changed()
                return
        self.end_by(RunOver(ENDS_AS[by], reason if len(self.servos) == 1 else f"{servo}: {reason}"), apart_from=servo)

    def end_by(self, over: RunOver, apart_from: str | None = None) -> None:
        """Bring everything to rest (category 2) and let the run end so; the first reason stands."""
        if self._over is None:
            self._over = over
            self.rest(apart_from)
            self._changed()

    def rest(self, apart_from: str | None = None) -> None:
        """Stop what moves for this run."""
        for name, servo in self.servos.items():
            if name != apart_from and servo.moving:
                servo.stop(self._who, 2)

    # As the driver sees it

    def clock(self) -> float:
        """Seconds since it began, without those that it was held."""
        now = self._held_since if self.state is RunState.HELD else self._now()
        return now - self._began - self._held_s

    async def going(self) -> None:
        """Return while it runs, after a hold once it is resumed. Raises RunOver."""
        while True:
            if self._over is not None:
                raise self._over
            if self.state is not RunState.HELD:
                return
            await self._change.wait()

    async def changes(self, within_s: float) -> None:
        """Wait until something about it changes, so many seconds at most."""
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(within_s):
                await self._change.wait()

    @property
    def over(self) -> RunOver | None:
        """What ends it, once something does."""
        return self._over

    def forgive(self) -> None:
        """The sequence has another one for this case: go on with that."""
        self._over = None

    # Life

    def begin(self) -> None:
        """It starts to move."""
        self.state, self.started_at, self._began = RunState.RUNNING, self._wall(), self._now()
        self._changed()

    def end(self, state: RunState, reason: str | None) -> None:
        """It has ended."""
        if self.state is RunState.HELD:
            self._held_s += self._now() - self._held_since
        self.state, self.reason, self.ended_at = state, reason, self._wall()
        if self.started_at is not None:
            self.actual_s = round(self._now() - self._began, 4)
        self._changed()
        self._ended.set()

    async def ended(self) -> None:
        """Wait until it has ended, however."""
        await self._ended.wait()

    def hold(self) -> None:
        """Come to rest and wait. Raises Busy unless it runs."""
        if self.state is not RunState.RUNNING or self._over is not None:
            raise Busy(f"The run is {self.state}; only a running one can be held.")
        self.state, self._held_since = RunState.HELD, self._now()
        self.rest()
        self._changed()

    def resume(self) -> None:
        """Go on where it was held. Raises Busy unless it is held."""
        if self.state is not RunState.HELD or self._over is not None:
            raise Busy(f"The run is {self.state}; only a held one can go on.")
        self._held_s += self._now() - self._held_since
        self.state = RunState.RUNNING
        self._changed()

    def report(self) -> RunReport:
        """How it stands, without its steps."""
        return RunReport(
            id=self._id,
            sequence=self.order.name,
            servo=self.order.servo,
            state=self.state,
            asked_by=self.order.asker.label,
            asked_at=self.asked_at,
            started_at=self.started_at,
            ended_at=self.ended_at,
            planned_s=round(self.order.planned_s, 4),
            actual_s=self.actual_s,
            held_s=round(self._held_s, 4),
            steps_begun=self.steps_begun,
            steps_total=self.order.steps_total,
            reason=self.reason,
        )

    def _changed(self) -> None:
        self._change.set()
        self._change = asyncio.Event()
