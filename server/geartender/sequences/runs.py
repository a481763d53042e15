"""The runs of this service: starting them, watching over them, and remembering what became of them."""

from __future__ import annotations

import asyncio
import contextlib
import logging
from collections import Counter, OrderedDict
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Any

from geartender.build import BuildSheet
from geartender.errors import Busy, NotHomed, NotStored, Refused, Unknown
from geartender.sequences.driver import Driver
from geartender.sequences.forecast import Forecaster, Misplaced, forecast
from geartender.sequences.interpreter import CheckFailed, Interpreter, Library
from geartender.sequences.model import RunInstead, Sequence, called, walk
from geartender.sequences.reading import read_stored
from geartender.sequences.run import Order, Run, RunOver
from geartender.sequences.run_models import UNDER_WAY, RunReport, RunState, RunStepReport, StepState
from geartender.servo.models import ServoState
from geartender.servo.motions import Who
from geartender.servo.servo import Servo
from geartender.store import Run as StoredRun
from geartender.store import RunStep, Store
from geartender.store.journal import Intent
from geartender.world import World

log = logging.getLogger(__name__)

SEQUENCE = "sequence"
"""Kind of document under which sequences are stored."""

REMEMBERED_MAX = 50
"""Runs that have ended and can still be told of while the disk keeps nothing."""

REST_WAIT_S = 2.0
"""s that the answer to an end waits for it: most come to rest within, and whoever asked sees how it ended."""

STEPS_PAGE = 1000
"""Steps of a run that are shown at once."""


@dataclass(frozen=True, slots=True)
class Plan:
    """A sequence that is ready to be run."""

    sequence: Sequence
    library: Library
    servo: str | None
    servos: dict[str, Servo]
    """All that it may move."""
    found: Forecaster


class Runs:
    """Starts runs and owns their tasks. `run` must be under way."""

    def __init__(
        self, store: Store, servos: Mapping[str, Servo], world: World, unattended: Collection[str] = ()
    ) -> None:
        self._store = store
        self._servos = servos
        self._world = world
        self.unattended = frozenset(unattended)
        """Servos that the timetable may arm and home, by the owner's decision."""
        self._live: dict[str, Run] = {}
        self._ended: OrderedDict[str, Run] = OrderedDict()
        self._intents: dict[str, Intent] = {}
        self._tasks: asyncio.TaskGroup | None = None
        self.results: Counter[RunState] = Counter()
        """How many runs have ended how since the start."""

    async def run(self) -> None:
        """Own the runs for ever. Ends by cancellation only, which ends them too."""
        try:
            async with asyncio.TaskGroup() as tasks:
                self._tasks = tasks
                await asyncio.Event().wait()
        finally:
            self._tasks = None

    # Sequences

    async def library(self) -> dict[str, Sequence]:
        """All stored sequences that can be read."""
        stored = {one.name: read_stored(Sequence, one.body) for one in await self._store.documents(SEQUENCE)}
        return {name: sequence for name, sequence in stored.items() if sequence is not None}

    def sheets(self) -> dict[str, BuildSheet]:
        """The build sheets in force."""
        return {name: servo.sheet for name, servo in self._servos.items()}

    def only_servo(self) -> str | None:
        """The servo that needs no naming, where there is just one."""
        return next(iter(self._servos)) if len(self._servos) == 1 else None

    async def plan(
        self, name: str, servo: str | None, sequence: Sequence | None = None, from_deg: float | None = None
    ) -> Plan:
        """Make a stored sequence ready, or this one in its place, from where the servos stand or its own from that angle.

        Raises Unknown, Invalid and what its steps are refused with.
        """
        library = await self.library()
        if sequence is None and name not in library:
            raise Unknown(f"There is no sequence named {name!r}. Stored are: {', '.join(library) or 'none yet'}.")
        sequence = sequence or library[name]
        whole = {**library, name: sequence}
        own = servo or sequence.servo or self.only_servo()
        try:
            starts = self._starts()
            if from_deg is not None and own is not None:
                starts[own] = from_deg
            found = await forecast(sequence, whole, self.sheets(), starts, own)
        except Misplaced as wrong:
            raise wrong.as_refusal() from wrong
        names = {*found.known, *(each for each in named_servos(sequence, whole) if each in self._servos)}
        if own is not None and own in self._servos:
            names.add(own)
        return Plan(sequence, whole, own, {each: self._servos[each] for each in self._servos if each in names}, found)

    def _starts(self) -> dict[str, float | None]:
        starts: dict[str, float | None] = {}
        for name, servo in self._servos.items():
            try:
                starts[name] = servo.here()
            except Refused:
                starts[name] = None
        return starts

    # Starting

    async def start(self, name: str, asker: Who, servo: str | None = None) -> Run:
        """Start a run. Raises Unknown, NotStored, and Refused when it cannot begin now."""
        self._store.require_keeping()
        self._group()
        plan = await self.plan(name, servo)
        alone = asker.via == "timetable"
        for each in plan.servos.values():
            self._require_free(each, asker, plan, alone=alone)
        order = Order(name, plan.sequence, plan.servo, asker, plan.found.now_s, len(plan.found.legs))
        run = Run(f"r-{self._world.random.getrandbits(48):012x}", order, plan.servos, self._world)
        self._live[run.id] = run
        try:
            await self._keep_run(run)
            await self._intend(run)
            if alone:
                await self._arm(run)
            self._claim(run, asker)
        except Refused as refused:
            await self._finish(run, RunState.STOPPED, refused.detail)
            raise
        if not alone:
            run.begin()
        self._group().create_task(self._execute(run, plan), name=f"run {run.id}")
        return run

    def _group(self) -> asyncio.TaskGroup:
        if self._tasks is None:
            raise Busy("The service is only just starting, or ending; try again in a moment.")
        return self._tasks

    def _require_free(self, servo: Servo, asker: Who, plan: Plan, *, alone: bool) -> None:
        own_decision = alone and servo.name in self.unattended
        servo.require_claimable(asker, armed=not own_decision)
        needs_home = plan.found.needs_home.get(servo.name, False)
        if needs_home and not own_decision and not servo.snapshot().homed:
            raise NotHomed(
                f"The position of {servo.name} is not known. Home it first, or let the sequence begin with homing."
            )

    async def _arm(self, run: Run) -> None:
        """The owner's decision `unattended` lets the timetable arm."""
        for servo in run.servos.values():
            if servo.name in self.unattended and servo.state is ServoState.DISARMED:
                self._note(
                    run, f"{servo.name} is armed by itself: the owner's decision `unattended` allows it", servo.name
                )
                await servo.arm(run.who)

    def _claim(self, run: Run, asker: Who) -> None:
        claimed: list[Servo] = []
        try:
            for servo in run.servos.values():
                servo.claim(run, run.who if asker.via == "timetable" else asker)
                claimed.append(servo)
        except Refused:
            for servo in claimed:
                servo.release(run)
            raise

    async def _intend(self, run: Run) -> None:
        """Write down that it begins; without that it does not. Raises NotStored."""
        order = run.order
        self._intents[run.id] = await self._store.journal.intend(
            "run",
            f"run {order.name}",
            who=order.asker.label,
            via=run.who.via,
            servo=order.servo,
            what={"sequence": order.name, "planned_s": round(order.planned_s, 3)},
            run=run.id,
        )

    # Running

    async def _execute(self, run: Run, plan: Plan) -> None:
        """The task of one run, from its first step to its last word."""
        try:
            state, reason = await self._go(run, plan)
        except asyncio.CancelledError:
            run.rest()
            state, reason = RunState.STOPPED, "the service was ended"
            await asyncio.shield(self._finish(run, state, reason))
            raise
        except Exception:
            log.exception("run %s failed", run.id)
            state, reason = RunState.STOPPED, "the service made a mistake; its log says which"
        if state is not RunState.DONE:
            run.rest()
        await self._finish(run, state, reason)

    async def _go(self, run: Run, plan: Plan) -> tuple[RunState, str | None]:
        driver = Driver(run, self._world, lambda step: self._keep_step(run, step))
        interpreter = Interpreter(plan.library, driver)
        try:
            if run.order.asker.via == "timetable":
                await self._home(run, plan)
                run.begin()
            await self._keep_run(run)
            await interpreter.run(plan.sequence, plan.servo)
        except RunOver as over:
            instead = plan.sequence.on_fault
            if over.state is RunState.FAULTED and isinstance(instead, RunInstead) and run.state in UNDER_WAY:
                return await self._instead(run, interpreter, instead.run, over)
            return over.state, over.reason
        except CheckFailed as failed:
            return RunState.STOPPED, str(failed)
        except NotStored as refused:
            return RunState.STOPPED, refused.detail
        except Refused as refused:
            return RunState.STOPPED, refused.detail
        if run.out:
            return RunState.FAULTED, "; ".join(f"{name}: {why}" for name, why in run.out.items())
        return RunState.DONE, None

    async def _instead(self, run: Run, interpreter: Interpreter, name: str, over: RunOver) -> tuple[RunState, str]:
        """After a fault: the sequence that was named for it. The run has still ended as faulted."""
        run.forgive()
        self._tell(run, f"after a fault, {name} in place of the rest: {over.reason}")
        try:
            await interpreter.run_named(name, run.order.servo, ("on_fault",))
        except RunOver as again:
            return again.state, f"{over.reason} Then, in {name}: {again.reason}"
        except (CheckFailed, Refused) as failed:
            return RunState.FAULTED, f"{over.reason} Then, in {name}: {failed}"
        return RunState.FAULTED, f"{over.reason} Then {name} was done."

    async def _home(self, run: Run, plan: Plan) -> None:
        """With `unattended`, home what needs it and is not homed."""
        for name, needed in plan.found.needs_home.items():
            servo = self._servos[name]
            if not needed or servo.snapshot().homed:
                continue
            self._note(run, f"{name} is homed by itself: the owner's decision `unattended` allows it", name)
            motion = await servo.home(run.who)
            await motion.ended()
            await run.going()
            if not servo.snapshot().homed:
                raise RunOver(
                    RunState.STOPPED, f"homing {name} did not find its position: {motion.reason or motion.state}"
                )

    async def _finish(self, run: Run, state: RunState, reason: str | None) -> None:
        run.end(state, reason)
        self.results[state] += 1
        if (intent := self._intents.pop(run.id, None)) is not None:
            figures = {"planned_s": run.order.planned_s, "actual_s": run.actual_s, "steps": run.steps_begun}
            self._store.journal.settle(intent, state.value, reason=reason, figures=figures)
        for servo in run.servos.values():
            servo.release(run)
        self._live.pop(run.id, None)
        self._ended[run.id] = run
        while len(self._ended) > REMEMBERED_MAX:
            self._ended.popitem(last=False)
        try:
            await self._keep_run(run)
        except NotStored as refused:
            log.warning("run %s: %s", run.id, refused.detail)

    # People

    async def stop(self, run_id: str, who: Who) -> RunReport:
        """End a run: what moves comes to rest, drive stays on. Raises Unknown; does nothing when it has ended."""
        run = self._live.get(run_id)
        if run is None:
            return await self.report(run_id)
        run.end_by(RunOver(RunState.STOPPED, f"stopped by {who.label}"))
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(REST_WAIT_S):
                await run.ended()
        return run.report()

    async def hold(self, run_id: str, who: Who) -> RunReport:
        """Come to rest and wait. Raises Unknown, Busy."""
        run = self._under_way(run_id)
        run.hold()
        self._tell(run, f"held by {who.label}")
        await self._keep_run(run)
        return run.report()

    async def resume(self, run_id: str, who: Who) -> RunReport:
        """Go on where it was held. Raises Unknown, Busy, NotStored."""
        run = self._under_way(run_id)
        self._store.require_keeping()
        run.resume()
        self._tell(run, f"resumed by {who.label}")
        await self._keep_run(run)
        return run.report()

    def _under_way(self, run_id: str) -> Run:
        run = self._live.get(run_id)
        if run is None:
            raise Busy("This run has ended, or there never was one of that id.")
        return run

    # Looking

    def live(self, run_id: str) -> Run | None:
        """A run that is under way or has only just ended."""
        return self._live.get(run_id) or self._ended.get(run_id)

    async def report(self, run_id: str, after: int = -1, limit: int = STEPS_PAGE) -> RunReport:
        """A run with its steps from behind a position on. Raises Unknown."""
        run = self.live(run_id)
        report = run.report() if run else stored_report(await self._store.get_run(run_id))
        steps = await self._store.run_steps(run_id, limit + 1, after)
        over = report.state not in UNDER_WAY
        shown = [shown_step(step, run_over=over) for step in steps[:limit]]
        follows = str(shown[-1].position) if len(steps) > limit else None
        return report.model_copy(update={"steps": shown, "next": follows})

    async def listed(self, limit: int, before: int | None, sequence: str | None) -> tuple[list[RunReport], int | None]:
        """Runs without their steps, newest first, and the number from below which the next part goes on."""
        found = await self._store.runs(limit + 1, before, sequence)
        reports = []
        for stored in found[:limit]:
            run = self.live(stored.id)
            reports.append(run.report() if run else stored_report(stored))
        return reports, found[limit - 1].number if len(found) > limit else None

    # Keeping and telling

    async def _keep_run(self, run: Run) -> None:
        report = run.report()
        await self._store.put_run(
            StoredRun(
                id=run.id,
                sequence=report.sequence,
                servo=report.servo,
                state=report.state,
                asked_by=report.asked_by,
                asked_at=report.asked_at,
                started_at=report.started_at,
                ended_at=report.ended_at,
                reason=report.reason,
                detail=report.model_dump(mode="json", include=DETAIL),
            )
        )
        self._announce(run, f"{report.sequence}: {report.state}", None)

    async def _keep_step(self, run: Run, step: RunStepReport) -> None:
        body = step.model_dump(mode="json")
        self._announce(run, f"{run.order.name}: {step.at}, {step.do}, {step.state}", body)
        await self._store.put_run_step(RunStep(run.id, step.position, body))

    def _announce(self, run: Run, text: str, step: dict[str, Any] | None) -> None:
        for servo in run.servos.values():
            servo.announce("run", text, run=run.report().model_dump(mode="json", exclude={"steps", "next"}), step=step)

    def _tell(self, run: Run, text: str) -> None:
        self._note(run, text, run.order.servo)
        self._announce(run, f"{run.order.name}: {text}", None)

    def _note(self, run: Run, text: str, servo: str | None) -> None:
        self._store.journal.tell(
            "run", f"{run.order.name}: {text}", who=run.who.label, via=run.who.via, servo=servo, run=run.id
        )


DETAIL = {"planned_s", "actual_s", "held_s", "steps_begun", "steps_total"}


def stored_report(stored: StoredRun) -> RunReport:
    """The report of a run that only the store remembers."""
    known = {name: stored.detail.get(name) for name in DETAIL}
    return RunReport(
        id=stored.id,
        sequence=stored.sequence,
        servo=stored.servo,
        state=RunState(stored.state),
        asked_by=stored.asked_by,
        asked_at=stored.asked_at,
        started_at=stored.started_at,
        ended_at=stored.ended_at,
        planned_s=known["planned_s"],
        actual_s=known["actual_s"],
        held_s=known["held_s"] or 0.0,
        steps_begun=known["steps_begun"] or 0,
        steps_total=known["steps_total"],
        reason=stored.reason,
    )


def shown_step(stored: RunStep, *, run_over: bool) -> RunStepReport:
    """A step as it is shown: of a run that is over, one without an end is unknown."""
    step = RunStepReport.model_validate(stored.body)
    return (
        step.model_copy(update={"state": StepState.UNKNOWN}) if run_over and step.state is StepState.RUNNING else step
    )


def named_servos(sequence: Sequence, library: Library) -> set[str]:
    """Every servo that is named in a sequence or in those that it may run."""
    names: set[str] = set()
    seen: set[str] = set()
    waiting = [sequence]
    while waiting:
        one = waiting.pop()
        names |= {one.servo} if one.servo else set()
        names |= {step.servo for _, step in walk(one.steps) if step.servo}
        fresh = {other for _, other in called(one)} - seen
        seen |= fresh
        waiting += [library[other] for other in fresh if other in library]
    return names
