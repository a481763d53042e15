"""A servo on virtual time with a simulated machine behind it, and a person beside it who goes on, answers and reads a meter."""

from __future__ import annotations

import asyncio
import random
from collections.abc import Awaitable, Callable
from typing import Any, Protocol, runtime_checkable

from geartender.bench.execute import Ended, execute
from geartender.bench.models import BenchRun
from geartender.bench.session import Session
from geartender.build import BuildSheet
from geartender.build.measured import Measured
from geartender.servo.models import FaultReport
from geartender.simulator.device import SimulatedServo
from geartender.simulator.plant import Plant
from geartender.world import World
from geartender.world.virtual import run_virtual
from tests.servo.rig import ANNA, Rig, running

METER_DIGIT_A = 0.001
METER_SHARE, METER_REPEAT = 0.004, 0.001
"""What a person's meter is off for good, half of what the bench allows it, and from one reading to the next."""
GAUGE_DEG, GAUGE_ZERO_DEG = 0.1, 12.3
"""What the gauge on the lever shows, and where its own zero is."""
ARM_M, HANGS_SHARE = 0.2, 0.6
"""Where the weight hangs, and the share of what it may pull with."""

FIXED = {
    "turns": 2.0,
    "knob": 50,
    "resolution": GAUGE_DEG,
    "arm": ARM_M,
    **dict.fromkeys(("stop", "meter", "gauge"), "yes"),
}
"""Answers that are always the same."""


class Person:
    """Stands beside the machine: sees the lever, turns the shaft, reads the meter, and answers."""

    def __init__(self, sim: SimulatedServo, seed: int, **answers: Any) -> None:
        self.sim = sim
        self.answers = answers
        self.chance = random.Random(seed)
        self.meter = 1 + self.chance.gauss(0, METER_SHARE)
        self.amps = 0.0
        self.true_deg: list[tuple[str, float]] = []
        """Where the lever really was when the gauge was read."""
        self.true_rise_k: list[float] = []
        """How warm the winding really was when the meter was read."""
        self.seen_deg = self.sim.truth().output_deg
        self.asked: list[str] = []
        self.text = ""
        """What is asked just now."""

    async def attend(self, session: Session) -> None:
        """Watch, and answer whatever is asked."""
        watcher = asyncio.create_task(self._watch(session))
        try:
            while not session.final:
                question = session.report.question
                if question is not None:
                    self.asked.append(question.id)
                    self.text = question.text
                    await asyncio.sleep(0.05)
                    session.answer(question.id, self._answer(question.id))
                await session.changes()
        finally:
            watcher.cancel()

    async def _watch(self, session: Session) -> None:
        """Read the meter while the motor is held, turn the shaft when asked to, and see how the lever moves."""
        handed, step_id = False, ""
        while True:
            truth = self.sim.truth()
            if abs(truth.duty) > 0.02 and abs(truth.output_deg_s) < 1e-3 and abs(truth.current_a) > 0.02:
                self.amps = abs(truth.current_a)
            step = session.report.steps[-1] if session.report.steps else None
            if step is not None and step.id != step_id:
                step_id, self.seen_deg = step.id, truth.output_deg
                self.sim.command("hand 0")
            if step is not None and step.id == "sensors" and not handed:
                handed = True
                self.sim.command("hand 2")
            await asyncio.sleep(0.05)

    def _answer(self, question: str) -> Any:
        kind = question.split("-", maxsplit=1)[0]
        for known in (question, kind):
            if known in self.answers:
                answer = self.answers[known]
                return answer(self) if callable(answer) else answer
        if kind in FIXED:
            return FIXED[kind]
        now = self.sim.truth().output_deg
        moved, self.seen_deg = now - self.seen_deg, now
        match kind:
            case "current":
                self.true_rise_k.append(self.sim.mechanics.winding_rise_k)
                read = self.amps * self.meter * (1 + self.chance.gauss(0, METER_REPEAT))
                return round(read / METER_DIGIT_A) * METER_DIGIT_A
            case "way":
                return "up" if moved > 0.05 else "down" if moved < -0.05 else "not at all"
            case "angle":
                return round(moved * 2) / 2 + 0.0
            case "reading":
                self.true_deg.append((question, now))
                return round((now + GAUGE_ZERO_DEG) / GAUGE_DEG) * GAUGE_DEG
            case "mass":
                pull_nm = HANGS_SHARE * float(self.text.split(" N·m at most")[0].split()[-1])
                self.sim.command(f"weight {pull_nm}")
                return pull_nm / 9.80665 / ARM_M
            case "save":
                return "save" if "no worse" in self.text else "leave"
            case _:
                return None


@runtime_checkable
class Watcher(Protocol):
    """Looks at the truth, and wants to know the session."""

    session: Session | None


class Bench:
    """A session of a procedure on a rig, and what came of it."""

    def __init__(self, rig: Rig, session: Session, person: Person) -> None:
        self.rig, self.session, self.person = rig, session, person
        self.measured: Measured | None = None
        self.ended: Ended | None = None
        self.fault: FaultReport | None = None

    @property
    def report(self) -> BenchRun:
        return self.session.report


def at_bench(
    procedure: Callable[[Session], Awaitable[Measured | None]],
    sheet: BuildSheet,
    plant: Plant,
    seed: int = 1,
    *,
    measured: Measured | None = None,
    auto: bool = True,
    truth: Callable[[Any], None] | None = None,
    drop: float = 0.0,
    **answers: Any,
) -> Bench:
    """Run a procedure to its end on a machine of its own; what it raises on purpose is kept."""

    async def main(world: World) -> Bench:
        sim = SimulatedServo(sheet, plant, seed)
        sim.on_truth = truth
        sim.mechanics.drop_share = drop
        rig = Rig(world, sim, sheet)
        async with running(rig.servo):
            if measured is not None:
                rig.servo.replace_measured(measured)
            await rig.connected()
            session = Session("b1", "procedure", rig.servo, world, ANNA, auto=auto)
            person = Person(sim, seed, **answers)
            bench = Bench(rig, session, person)
            if isinstance(truth, Watcher):
                truth.session = session
            rig.servo.claim(session, ANNA, armed=False)
            attending = asyncio.create_task(person.attend(session))
            bench.ended = await execute(session, procedure)
            bench.measured = bench.ended.measured
            bench.fault = rig.servo.snapshot().fault
            attending.cancel()
            rig.servo.release(session)
            return bench

    return run_virtual(main, seed)
