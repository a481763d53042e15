"""Goes through a sequence step by step, into repeats and other sequences, and hands each act to whoever does it.

The same walk drives the servo and works out the preview, so that what was shown is what is done.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Protocol

from geartender.errors import Invalid
from geartender.mistakes import path_of
from geartender.sequences.model import (
    NESTING_MAX,
    CheckStep,
    HomeStep,
    MoveStep,
    Path,
    RepeatStep,
    RunInstead,
    RunStep,
    Sequence,
    Step,
    TogetherStep,
    TurnStep,
    WaitStep,
)

Doing = HomeStep | MoveStep | TurnStep | WaitStep | TogetherStep
"""Steps that do something by themselves."""

Library = Mapping[str, Sequence]
"""Stored sequences by name."""


@dataclass(frozen=True, slots=True)
class Act:
    """One step to be done: where it stands, and for which servo."""

    place: Place
    step: Doing | CheckStep
    servo: str | None
    """None where no servo was named anywhere; only a wait can do without."""

    def needed_servo(self) -> str:
        """The servo. Raises Invalid when none was named."""
        if self.servo is None:
            raise Invalid("No servo is named. Name one in the step, in the sequence, or when you run it.")
        return self.servo


@dataclass(frozen=True, slots=True)
class Place:
    """Where a step stands: in which sequence (None for the one that was asked for) and at which place of its document."""

    sequence: str | None
    path: Path
    entry: Path
    """Where in the document that was asked for the way to it begins: its own place, or that of the step that runs the other."""

    def __str__(self) -> str:
        inner = path_of(self.path)
        return inner if self.sequence is None else f"{self.sequence}: {inner}"


class Actor(Protocol):
    """Does what the steps say."""

    async def act(self, act: Act) -> None:
        """Do a step to its end. Raises to end the sequence."""
        ...

    async def check(self, act: Act, step: CheckStep) -> str | None:
        """None when all is well, else what is not, in plain words."""
        ...


class CheckFailed(Exception):
    """A check says stop."""

    def __init__(self, place: Place, reason: str) -> None:
        super().__init__(f"{place}: {reason}")


class Interpreter:
    """Goes through sequences for one actor."""

    def __init__(self, library: Library, actor: Actor) -> None:
        self._library = library
        self._actor = actor
        self._depth = 0

    async def run(self, sequence: Sequence, servo: str | None = None) -> None:
        """Do the whole sequence; `servo` takes the place of the one that the sequence names. Raises what the actor raises."""
        await self._list(sequence.steps, servo or sequence.servo, Place(None, ("steps",), ()))

    async def run_named(self, name: str, servo: str | None, entry: Path) -> None:
        """Do another sequence. Raises Invalid when there is none of that name."""
        other = self._library.get(name)
        if other is None:
            raise Invalid(f"There is no sequence {name!r} any more.")
        await self._list(other.steps, servo or other.servo, Place(name, ("steps",), entry))

    async def _list(self, steps: list[Step], servo: str | None, at: Place) -> None:
        self._depth += 1
        if self._depth > NESTING_MAX:
            raise Invalid(f"{at}: more than {NESTING_MAX} lists within lists.")
        try:
            for index, step in enumerate(steps):
                here = Place(at.sequence, (*at.path, index), at.entry or (*at.path, index))
                if not await self._step(step, step.servo or servo, here):
                    return
        finally:
            self._depth -= 1

    async def _step(self, step: Step, servo: str | None, here: Place) -> bool:
        """Do one step; whether the list goes on after it."""
        match step:
            case RepeatStep():
                for _ in range(step.times):
                    await self._list(step.steps, servo, Place(here.sequence, (*here.path, "steps"), here.entry))
            case RunStep():
                await self.run_named(step.sequence, step.servo or self._own_servo(step.sequence) or servo, here.entry)
            case CheckStep():
                return await self._checked(step, servo, here)
            case _:
                await self._actor.act(Act(here, step, servo))
        return True

    async def _checked(self, step: CheckStep, servo: str | None, here: Place) -> bool:
        trouble = await self._actor.check(Act(here, step, servo), step)
        if trouble is None:
            return True
        if step.otherwise == "stop":
            raise CheckFailed(here, trouble)
        if isinstance(step.otherwise, RunInstead):
            name = step.otherwise.run
            await self.run_named(name, self._own_servo(name) or servo, here.entry)
            return True
        return False

    def _own_servo(self, name: str) -> str | None:
        other = self._library.get(name)
        return other.servo if other else None
