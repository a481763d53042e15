"""What a caller may ask of a servo: the bodies of a move and of a turn.

Every number is finite, every unit stands in the field's name, and an unknown field is an error.
"""

from __future__ import annotations

from enum import StrEnum
from typing import Annotated, Self

from pydantic import BaseModel, ConfigDict, Field, model_validator

LONGEST_MOVE_S = 480.0
"""s; the firmware's clock compares times up to 537 s apart, and a path longer than that would lose its start."""

LONGEST_TURN_S = 3600.0
"""s; a longer turn is one until stopped."""

LEAST = 1e-3
"""In any of the units; what is slower or shorter no eye tells from standing still, and no planner computes well."""

LARGEST_ANGLE_DEG = 360_000.0
"""deg; a thousand turns: beyond it a position no longer fits the numbers of the link."""

Angle = Annotated[float, Field(ge=-LARGEST_ANGLE_DEG, le=LARGEST_ANGLE_DEG)]
Positive = Annotated[float, Field(ge=LEAST)]


class Request(BaseModel):
    """Common ground: nothing unknown, nothing infinite, nothing changed afterwards."""

    model_config = ConfigDict(extra="forbid", allow_inf_nan=False, frozen=True)


class WhenBusy(StrEnum):
    """What becomes of a motion that still runs when a new one is asked for."""

    REPLACE = "replace"
    QUEUE = "queue"
    REFUSE = "refuse"


class MoveRequest(Request):
    """Go to an angle, or by an angle, and come to rest there."""

    model_config = ConfigDict(
        json_schema_extra={"examples": [{"to_deg": 35.0}, {"by_deg": -5.0, "speed_deg_s": 4.0, "when_busy": "queue"}]}
    )

    to_deg: Angle | None = Field(None, description="Angle to go to, degrees. Give this or `by_deg`.")
    by_deg: Angle | None = Field(
        None, description="Angle to go by, degrees, from the target of the running move or from where the servo stands."
    )
    speed_deg_s: Positive | None = Field(None, description="Highest speed, degrees per second; else the sheet's limit.")
    accel_deg_s2: Positive | None = Field(
        None, description="Highest acceleration, degrees per second squared; else the sheet's limit."
    )
    jerk_deg_s3: Positive | None = Field(None, description="Highest jerk, degrees per second cubed; else the sheet's.")
    duration_s: Annotated[float, Field(ge=LEAST, le=LONGEST_MOVE_S)] | None = Field(
        None, description="Take exactly this long, seconds; refused when the limits do not allow it."
    )
    torque_nm: Positive | None = Field(None, description="Torque bound of this motion at the output, newton metres.")
    when_busy: WhenBusy = Field(
        WhenBusy.REPLACE, description="With a motion running: take its place, wait behind it, or be refused."
    )

    @model_validator(mode="after")
    def _one_target(self) -> Self:
        if (self.to_deg is None) == (self.by_deg is None):
            raise ValueError("give either to_deg or by_deg")
        return self


class TurnRequest(Request):
    """Rotate at a held speed: for a time, for a number of turns, or until stopped."""

    model_config = ConfigDict(
        json_schema_extra={"examples": [{"speed_deg_s": 6.0, "for_s": 2.0}, {"speed_deg_s": -6.0, "turns": 0.5}]}
    )

    speed_deg_s: float = Field(description="Speed, degrees per second; its sign is the direction. Not zero.")
    for_s: Annotated[float, Field(ge=LEAST, le=LONGEST_TURN_S)] | None = Field(
        None, description="Rotate for so long, seconds, then ramp down."
    )
    turns: Annotated[float, Field(ge=LEAST, le=LARGEST_ANGLE_DEG / 360)] | None = Field(
        None, description="Rotate by exactly so many turns of the output and come to rest."
    )

    @model_validator(mode="after")
    def _speed_and_end(self) -> Self:
        if abs(self.speed_deg_s) < LEAST:
            raise ValueError(f"speed_deg_s must be at least {LEAST:g} either way; to stop, use the stop")
        if self.for_s is not None and self.turns is not None:
            raise ValueError("give for_s or turns, not both")
        return self
