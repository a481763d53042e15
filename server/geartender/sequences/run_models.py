"""What a run shows of itself."""

from __future__ import annotations

from datetime import datetime
from enum import StrEnum

from pydantic import Field

from geartender.servo.models import Shown


class RunState(StrEnum):
    """Where a run stands; all but the first three are final."""

    QUEUED = "queued"
    RUNNING = "running"
    HELD = "held"
    DONE = "done"
    STOPPED = "stopped"
    FAULTED = "faulted"
    UNKNOWN = "unknown"


UNDER_WAY = frozenset({RunState.QUEUED, RunState.RUNNING, RunState.HELD})


class StepState(StrEnum):
    """What became of a step; a check that did not hold has `failed`."""

    RUNNING = "running"
    DONE = "done"
    FAILED = "failed"
    SKIPPED = "skipped"
    STOPPED = "stopped"
    FAULTED = "faulted"
    UNKNOWN = "unknown"


class RunStepReport(Shown):
    """One step that was begun, and what became of it."""

    position: int = Field(description="Counts from 0, in the order in which steps were begun.")
    at: str = Field(
        description="Its place in the document; with the name of the other sequence in front, if it is one's."
    )
    do: str
    servo: str | None
    state: StepState = StepState.RUNNING
    begun_at: datetime = Field(description="When it began, UTC.")
    planned_s: float | None = Field(None, description="How long it should take, seconds; null where nobody can know.")
    actual_s: float | None = Field(None, description="How long it took, seconds; null until it ended.")
    target_deg: float | None = Field(None, description="Where it should end, degrees.")
    end_deg: float | None = Field(None, description="Where it ended, degrees.")
    error_deg: float | None = Field(None, description="Where it ended less where it should have, degrees.")
    peak_torque_nm: float | None = Field(None, description="Largest torque at the output, newton metres.")
    motions: list[str] = Field(default=[], description="Ids of the motions it started.")
    reason: str | None = Field(None, description="Why it did not end as it should, in plain words.")


class RunReport(Shown):
    """A run and what became of it."""

    id: str
    sequence: str = Field(description="Name of the sequence.")
    servo: str | None = Field(description="The servo of steps that name none.")
    state: RunState
    asked_by: str = Field(description="Who asked for it.")
    asked_at: datetime = Field(description="When it was asked for, UTC.")
    started_at: datetime | None
    ended_at: datetime | None
    planned_s: float | None = Field(description="How long the whole should take, seconds.")
    actual_s: float | None = Field(
        description="How long it took, seconds, with the time it was held; null until it ended."
    )
    held_s: float = Field(0.0, description="How long it was held, seconds.")
    steps_begun: int = Field(description="Steps begun so far.")
    steps_total: int | None = Field(description="Steps that will be begun if every check holds.")
    reason: str | None = Field(description="Why it did not end as `done`, and who or what ended it, in plain words.")
    steps: list[RunStepReport] = Field(default=[], description="The steps begun so far, or a part of them.")
    next: str | None = Field(
        None, description="Ask again with `after` of this for the steps that follow; null at the end."
    )
