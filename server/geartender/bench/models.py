"""What the bench shows of itself: procedures, runs, their steps, what is announced and asked, and what was found wrong."""

from __future__ import annotations

from datetime import datetime
from enum import StrEnum
from typing import Any, Literal

from pydantic import Field

from geartender.build.measured import Found
from geartender.servo.models import Shown


class BenchState(StrEnum):
    """Where a run of the bench stands; all but the first two are final."""

    RUNNING = "running"
    WAITING = "waiting"
    """It asks something, or waits for the word to go on."""
    DONE = "done"
    WRONG = "wrong"
    """It found something wrong, and named it."""
    STOPPED = "stopped"
    FAULTED = "faulted"


FINAL = frozenset({BenchState.DONE, BenchState.WRONG, BenchState.STOPPED, BenchState.FAULTED})


class Announcement(Shown):
    """What a step is about to do, and what it never goes beyond."""

    text: str = Field(description="What will move, in plain words.")
    moves_deg: float = Field(ge=0, description="How far the output turns at most, degrees; 0: nothing moves.")
    speed_deg_s: float = Field(ge=0, description="How fast it turns at most.")
    torque_nm: float = Field(ge=0, description="Torque at the output at most, N·m.")
    time_s: float = Field(ge=0, description="How long it drives at most.")


class Preview(Shown):
    """What a position of a knob would do, by the identified model, before anything moves."""

    position: float
    ms: float = Field(description="Largest sensitivity of the loop.")
    gain_margin: float = Field(description="Times that the loop's gain may grow.")
    phase_margin_deg: float
    rms_deg: float = Field(description="Predicted following error of the recorded move, root of the mean square.")
    largest_deg: float = Field(description="The largest of it.")
    curve: list[tuple[float, float]] = Field(description="Predicted following error as [s, degrees behind].")


class Range(Shown):
    """A knob: between which numbers it turns, and what positions of it would do."""

    low: float
    high: float
    step: float = Field(description="Between two previews; any number between the ends is an answer.")
    start: float = Field(description="Where it is proposed to stand.")
    ends: tuple[str, str] = Field(description="What the ends are called.")
    measured: list[tuple[float, float]] = Field(
        description="The following error that was measured, as [s, degrees behind]."
    )
    previews: list[Preview]


class Question(Shown):
    """What is asked of the person; `go` is answered by going on, `range` by a number between its ends."""

    id: str
    kind: Literal["go", "choice", "number", "range"]
    text: str
    choices: list[str] = Field(default_factory=list)
    unit: str = ""
    optional: bool = Field(default=False, description="May be answered with null: then the step goes without.")
    announcement: Announcement | None = None
    range: Range | None = None


class Plot(Shown):
    """A picture of what was measured, as series of x and y."""

    title: str
    x_label: str
    y_label: str
    series: dict[str, list[tuple[float, float]]] = Field(description="By name, points as [x, y].")
    dots: bool = Field(default=False, description="Points that no line joins.")


class Wrong(Shown):
    """What was found wrong, and how it is cured."""

    kind: str = Field(description="A name for programs, such as `motor-swapped`.")
    text: str = Field(description="What is wrong, in plain words.")
    cure: str = Field(description="What to do about it.")


class StepReport(Shown):
    """One step of a run."""

    id: str
    title: str
    state: Literal["running", "done", "skipped", "wrong", "stopped"] = "running"
    announcement: Announcement | None = None
    moved_deg: float = Field(default=0.0, description="How far the output turned at most from where the step began.")
    text: list[str] = Field(default_factory=list, description="What it found, in plain words.")
    values: dict[str, Found] = Field(default_factory=dict)
    plots: list[Plot] = Field(default_factory=list)
    live: Plot | None = Field(
        default=None, description="While it moves: how far the output has turned so far, over time."
    )
    records: list[str] = Field(default_factory=list, description="Names of its raw records.")


class BenchRun(Shown):
    """A run of a procedure on a servo."""

    id: str
    procedure: str
    servo: str
    state: BenchState
    asked_by: str
    began_at: datetime
    ended_at: datetime | None = None
    steps: list[StepReport] = Field(default_factory=list)
    question: Question | None = None
    wrong: Wrong | None = None
    reason: str | None = Field(default=None, description="Why it did not end as `done`, in plain words.")
    measured_revision: int | None = Field(default=None, description="Revision of the measured document it made.")
    before: dict[str, Any] = Field(
        default_factory=dict, description="What it found before, where it changed something."
    )


class ProcedureShown(Shown):
    """A procedure of the bench."""

    name: str
    title: str
    about: str = Field(description="What it does and what you need for it.")
    steps: list[str] = Field(description="Titles of its steps, in order.")
    last: BenchRun | None = Field(default=None, description="Its last run on this servo, without its plots.")
