"""One run of a procedure, as the people beside the machine see it: what it asks, what it waits for, what ends it."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable, Mapping
from datetime import datetime
from typing import Any, Literal, TypeVar

from geartender.bench.models import (
    FINAL,
    Announcement,
    BenchRun,
    BenchState,
    Question,
    StepReport,
    Wrong,
)
from geartender.errors import Busy, Invalid
from geartender.servo.claims import Interruption
from geartender.servo.motions import Who
from geartender.servo.servo import Servo
from geartender.world import World
from geartender.world.worker import InlineWorker, Worker

T = TypeVar("T")

ANSWER_S = 3600.0
"""s that a question waits: a person may go and look for a meter; the servo is disarmed meanwhile."""

GO = "go"


class FoundWrong(Exception):
    """The procedure ends here: something is wrong that the person must see to."""

    def __init__(self, kind: str, text: str, cure: str) -> None:
        super().__init__(text)
        self.wrong = Wrong(kind=kind, text=text, cure=cure)


class SessionOver(Exception):
    """It ends here, otherwise than as done."""

    def __init__(self, state: BenchState, reason: str) -> None:
        super().__init__(reason)
        self.state, self.reason = state, reason


class Session:
    """A run from the asking to its end. It holds its servo; Stop, or the helm taken, ends it at once."""

    def __init__(
        self,
        run_id: str,
        procedure: str,
        servo: Servo,
        world: World,
        asker: Who,
        *,
        answers: Mapping[str, Any] | None = None,
        auto: bool = False,
        worker: Worker | None = None,
    ) -> None:
        self._id = run_id
        self.servo = servo
        self.world = world
        self.asker = asker
        self.auto = auto
        self.records: dict[str, Any] = {}
        """Raw records by name, packed."""
        self._given = dict(answers or {})
        self._worker = worker or InlineWorker()
        self._answer: asyncio.Future[Any] | None = None
        self._who = Who(f"bench {run_id}", f"the bench, for {asker.label}", asker.role, "run", run_id)
        self._change = asyncio.Event()
        self._over = asyncio.Event()
        self.report = BenchRun(
            id=run_id,
            procedure=procedure,
            servo=servo.name,
            state=BenchState.RUNNING,
            asked_by=asker.label,
            began_at=world.wall(),
        )
        self.ending: SessionOver | None = None
        """Set by what interrupts it."""
        self.cancel: Callable[[], object] = lambda: None

    # Claim

    @property
    def id(self) -> str:
        """Shown as `run` in the snapshot."""
        return self._id

    @property
    def who(self) -> Who:
        """In whose name it commands."""
        return self._who

    def interrupted(self, servo: str, by: Interruption, reason: str) -> None:  # noqa: ARG002 - it has only one
        """The servo is not its own any more."""
        if by is Interruption.FAULT and self.fault_expected:
            return
        state = BenchState.STOPPED if by is Interruption.PERSON else BenchState.FAULTED
        self.end(SessionOver(state, reason))

    fault_expected = False
    """A step that provokes a fault, and looks at it itself."""

    def end(self, over: SessionOver) -> None:
        """End it from outside."""
        if self.ending is None and self.report.state not in FINAL:
            self.ending = over
            self.cancel()

    # For whoever watches

    @property
    def final(self) -> bool:
        """Whether it has ended."""
        return self.report.state in FINAL

    async def changes(self) -> None:
        """Wait for the next change."""
        await self._change.wait()

    async def ended(self) -> None:
        """Wait for its end."""
        await self._over.wait()

    async def until(self, condition: Callable[[BenchRun], bool]) -> None:
        """Wait until the report is so, or it has ended."""
        while not condition(self.report) and not self.final:
            await self.changes()

    def answer(self, question_id: str, value: Any) -> None:
        """Answer what it asks now. Raises Busy when it asks something else, Invalid for what is no answer."""
        asked = self.report.question
        if asked is None or asked.id != question_id or self._answer is None or self._answer.done():
            raise Busy("The bench does not ask that now.", asks=asked.id if asked else "")
        self._answer.set_result(fitting(asked, value))
        self.report.question, self.report.state = None, BenchState.RUNNING
        self.changed()

    # For the procedure

    async def think(self, job: Callable[[], T]) -> T:
        """Work something out where it does not hold up the beat that the firmware waits for."""
        return await self._worker.submit(job)

    def changed(self) -> None:
        """Tell those who wait."""
        self._change.set()
        self._change = asyncio.Event()

    def step(self, step_id: str, title: str) -> StepReport:
        """Begin a step; the one before is done."""
        self.close_step("done")
        step = StepReport(id=step_id, title=title)
        self.report.steps.append(step)
        self.changed()
        return step

    def close_step(self, state: Literal["done", "wrong", "stopped"]) -> None:
        """Give the step that runs its end."""
        if self.report.steps and self.report.steps[-1].state == "running":
            self.report.steps[-1].state = state
        self.changed()

    def say(self, text: str) -> None:
        """Add what was found to the step."""
        self.report.steps[-1].text.append(text)
        self.changed()

    async def announce(self, announcement: Announcement) -> None:
        """Say what comes, and wait for the word to go on."""
        self.report.steps[-1].announcement = announcement
        self.changed()
        if self.auto:
            return
        number = len(self.report.steps)
        await self.ask(Question(id=f"{GO}-{number}", kind="go", text=announcement.text, announcement=announcement))

    async def ask(self, question: Question) -> Any:
        """Ask, and wait for the answer; one that was given beforehand is taken at once."""
        if question.id in self._given:
            return fitting(question, self._given[question.id])
        self._answer = asyncio.get_running_loop().create_future()
        self.report.question, self.report.state = question, BenchState.WAITING
        self.changed()
        try:
            async with asyncio.timeout(ANSWER_S):
                return await self._answer
        except TimeoutError:
            raise SessionOver(BenchState.STOPPED, "nobody answered for an hour") from None
        finally:
            self.report.question, self._answer = None, None
            if self.report.state is BenchState.WAITING:
                self.report.state = BenchState.RUNNING
            self.changed()

    def asks(self, question_id: str) -> bool:
        """Whether the answer to a question was given beforehand."""
        return question_id in self._given

    def finish(self, state: BenchState, reason: str | None, wrong: Wrong | None, at: datetime) -> None:
        """It has ended."""
        self.close_step("done" if state is BenchState.DONE else "wrong" if state is BenchState.WRONG else "stopped")
        self.report.state, self.report.reason, self.report.wrong = state, reason, wrong
        self.report.ended_at = at
        self._over.set()
        self.changed()


Procedure = Callable[[Session], Awaitable[None]]


def fitting(question: Question, value: Any) -> Any:
    """An answer as the question wants it. Raises Invalid."""
    if value is None and (question.optional or question.kind == "go"):
        return None
    if question.kind == "go":
        return None
    if question.kind == "choice":
        if value not in question.choices:
            raise Invalid(f"Answer one of: {', '.join(question.choices)}.", question=question.id)
        return value
    if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) < 1e9:
        raise Invalid(f"Answer a number{f' in {question.unit}' if question.unit else ''}.", question=question.id)
    turned = question.range
    if turned is not None and not turned.low <= value <= turned.high:
        raise Invalid(
            f"Answer a number from {turned.low:g}, {turned.ends[0]}, to {turned.high:g}, {turned.ends[1]}.",
            question=question.id,
        )
    return float(value)
