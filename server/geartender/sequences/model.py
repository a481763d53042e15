"""What a sequence says: a list of steps for one servo or several. Angles in degrees of the output, times in seconds."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Annotated, Any, Literal, Self

from pydantic import AfterValidator, BeforeValidator, ConfigDict, Discriminator, Field, Tag, model_validator

from geartender.servo.requests import LEAST, Angle, MoveRequest, Positive, Request, TurnRequest

STEPS_MAX = 500
"""Steps of one list: what a person can still look over; more is a repeat, or a sequence that is run by another."""

NESTING_MAX = 8
"""Lists within lists, over all sequences that are run by this one: deeper, nobody knows any more what it does."""

WAIT_MAX_S = 86_400.0
"""s; a day. What is farther apart belongs into the timetable."""

TIMES_MAX = 100_000
"""Times of one repeat."""

NAME_PATTERN = r"^[a-z0-9](?:[a-z0-9-]{0,38}[a-z0-9])?$"
"""Names stand in addresses: lower-case letters, digits and hyphens."""


def fit_name(name: str) -> str:
    """The name, if it can stand in an address. Raises ValueError."""
    if not re.fullmatch(NAME_PATTERN, name):
        raise ValueError("should be lower-case letters, digits and hyphens, 40 at most, such as air-at-noon")
    return name


Name = Annotated[
    str,
    AfterValidator(fit_name),
    Field(json_schema_extra={"pattern": NAME_PATTERN}),
]

AS = "as-"
"""Begins the tags that tell apart what one field may hold; they are no part of a place in a document."""


class RunInstead(Request):
    """Go on with another sequence."""

    run: Name = Field(description="Name of the sequence.")


def _from_words(value: Any) -> Any:
    """`run NAME` as one text is `{"run": NAME}`."""
    if isinstance(value, str) and value.startswith("run "):
        return {"run": value.removeprefix("run ").strip()}
    if isinstance(value, dict | RunInstead) or value in ("stop", "skip"):
        return value
    raise ValueError('should be "stop", "skip" or {"run": NAME}')


def _word_or_run(value: Any) -> str:
    return "as-word" if isinstance(value, str) else "as-run"


def _number_or_pair(value: Any) -> str:
    return "as-pair" if isinstance(value, list | tuple) else "as-number"


Otherwise = Annotated[
    Annotated[Literal["stop", "skip"], Tag("as-word")] | Annotated[RunInstead, Tag("as-run")],
    Discriminator(_word_or_run),
    BeforeValidator(_from_words),
]
Nearness = Annotated[
    Annotated[Annotated[float, Field(ge=LEAST)], Tag("as-number")] | Annotated[tuple[Angle, Angle], Tag("as-pair")],
    Discriminator(_number_or_pair),
]


class OfServo(Request):
    """What every step may say: which servo it is for. A step that holds others says it for them."""

    servo: Name | None = Field(None, description="The servo; else the one of the step around it, or of the sequence.")


class HomeStep(OfServo):
    """Find the home mark."""

    do: Literal["home"]


class MoveStep(OfServo, MoveRequest):
    """Go to an angle, as a move does. It always waits for what runs before it."""

    model_config = ConfigDict(json_schema_extra={"examples": [{"do": "move", "to_deg": 35.0}]})

    do: Literal["move"]


class TurnStep(OfServo, TurnRequest):
    """Rotate at a held speed, for a time or a number of turns."""

    model_config = ConfigDict(json_schema_extra={"examples": [{"do": "turn", "speed_deg_s": 6.0, "for_s": 2.0}]})

    do: Literal["turn"]

    @model_validator(mode="after")
    def _has_an_end(self) -> Self:
        if self.for_s is None and self.turns is None:
            raise ValueError("a turn in a sequence needs for_s or turns; without, it would never end")
        return self


class WaitStep(OfServo):
    """Do nothing for a while."""

    do: Literal["wait"]
    for_s: Annotated[float, Field(ge=LEAST, le=WAIT_MAX_S)] = Field(description="How long, seconds.")


class RepeatStep(OfServo):
    """Do some steps several times."""

    do: Literal["repeat"]
    times: Annotated[int, Field(ge=1, le=TIMES_MAX)] = Field(description="How many times.")
    steps: Annotated[list[Step], Field(min_length=1, max_length=STEPS_MAX)]


class RunStep(OfServo):
    """Do the steps of another sequence."""

    do: Literal["run"]
    sequence: Name = Field(description="Name of the other sequence.")


class TogetherStep(Request):
    """Moves of several servos that begin at once and end at once: all take as long as the slowest."""

    do: Literal["together"]
    servo: Name | None = Field(None, description="The servo of moves that name none.")
    steps: Annotated[list[MoveStep], Field(min_length=1, max_length=16)]


class CheckStep(OfServo):
    """Look at how it went so far; go on only if all is well."""

    do: Literal["check"]
    torque_below_nm: Positive | None = Field(
        None, description="The largest torque of the servo's last motion in this run must be below, newton metres."
    )
    angle_within_deg: Nearness | None = Field(
        None,
        description="The angle must lie within so many degrees of where the last motion should have ended, or between the "
        "two angles of a pair.",
    )
    otherwise: Otherwise = Field(
        "stop",
        description="If not: stop the run, skip the rest of the list that the check stands in, or run another sequence and "
        "go on.",
    )

    @model_validator(mode="after")
    def _checks_something(self) -> Self:
        if self.torque_below_nm is None and self.angle_within_deg is None:
            raise ValueError("give torque_below_nm or angle_within_deg")
        if isinstance(self.angle_within_deg, tuple) and self.angle_within_deg[0] >= self.angle_within_deg[1]:
            raise ValueError("angle_within_deg goes from the smaller angle to the larger")
        return self


Step = Annotated[
    HomeStep | MoveStep | TurnStep | WaitStep | RepeatStep | RunStep | TogetherStep | CheckStep,
    Field(discriminator="do"),
]


class Sequence(Request):
    """A stored list of steps."""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {
                    "note": "Airs the house at noon.",
                    "servo": "vent",
                    "steps": [
                        {"do": "move", "to_deg": 40},
                        {"do": "wait", "for_s": 600},
                        {"do": "move", "to_deg": 0},
                    ],
                    "on_fault": "stop",
                }
            ]
        }
    )

    note: Annotated[str, Field(max_length=4000)] = Field("", description="What it is for.")
    servo: Name | None = Field(
        None, description="The servo of steps that name none; else the one that the run or the timetable names."
    )
    steps: Annotated[list[Step], Field(min_length=1, max_length=STEPS_MAX)]
    on_fault: Otherwise = Field(
        "stop",
        description="When a servo has stopped itself: stop everything, skip what is left for that servo, or run another "
        "sequence in place of the rest. A fault is never reset by a sequence: that takes a person.",
    )


RepeatStep.model_rebuild()

Path = tuple[str | int, ...]
"""Place of a step in its document, as JSON Pointer steps: `("steps", 2, "steps", 0)`."""


def walk(steps: list[Any], at: Path = ("steps",)) -> Iterator[tuple[Path, Any]]:
    """Every step of a list and of the lists in it, with its place, as they stand in the document."""
    for index, step in enumerate(steps):
        yield (*at, index), step
        inner = getattr(step, "steps", None)
        if inner:
            yield from walk(inner, (*at, index, "steps"))


def called(sequence: Sequence) -> Iterator[tuple[Path, str]]:
    """The names of other sequences that this one runs, each with its place."""
    for at, step in walk(sequence.steps):
        if isinstance(step, RunStep):
            yield (*at, "sequence"), step.sequence
        elif isinstance(step, CheckStep) and isinstance(step.otherwise, RunInstead):
            yield (*at, "otherwise"), step.otherwise.run
    if isinstance(sequence.on_fault, RunInstead):
        yield ("on_fault",), sequence.on_fault.run
