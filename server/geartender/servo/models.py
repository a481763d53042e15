"""What a servo shows of itself: the snapshot, the report of a motion, the row of a trace.

Angles are degrees of the output, torques newton metres at the output, wall-clock times ISO 8601 in UTC.
"""

from __future__ import annotations

from datetime import datetime
from enum import StrEnum
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field


class ServoState(StrEnum):
    """What the servo is doing, in the words of the snapshot."""

    OFFLINE = "offline"
    DISARMED = "disarmed"
    READY = "ready"
    HOMING = "homing"
    MOVING = "moving"
    TURNING = "turning"
    JOGGING = "jogging"
    STOPPING = "stopping"
    FAULTED = "faulted"


class MotionKind(StrEnum):
    """The four kinds of motion."""

    MOVE = "move"
    HOME = "home"
    TURN = "turn"
    JOG = "jog"


class MotionState(StrEnum):
    """Where a motion stands in its life; all but the first two are final."""

    QUEUED = "queued"
    RUNNING = "running"
    DONE = "done"
    REPLACED = "replaced"
    STOPPED = "stopped"
    FAULTED = "faulted"
    LOST = "lost"


class Shown(BaseModel):
    """Common ground of everything shown: no unknown field, no infinity."""

    model_config = ConfigDict(extra="forbid", allow_inf_nan=False)


class MotionReport(Shown):
    """A motion and what became of it."""

    id: str = Field(description="Names the motion, as long as the service remembers it.")
    servo: str = Field(description="The servo that moves.")
    kind: MotionKind
    state: MotionState
    target_deg: float | None = Field(description="Where it should end, degrees; null for a held speed or homing.")
    planned_s: float | None = Field(description="Duration by the plan, seconds; null while it cannot be known.")
    actual_s: float | None = Field(description="Duration as it was, seconds; null until it ended.")
    end_deg: float | None = Field(description="Where it ended, degrees.")
    error_deg: float | None = Field(description="Where it ended less where it should have, degrees.")
    peak_torque_nm: float | None = Field(description="Largest torque at the output by the motor model, newton metres.")
    reason: str | None = Field(description="Why it did not end as `done`, in plain words.")
    asked_by: str = Field(description="Who asked for it.")
    asked_at: datetime = Field(description="When it was asked for, UTC.")


class FaultReport(Shown):
    """Why the servo stopped by itself, and what to do."""

    cause: str = Field(description="One of the causes of the fault list, such as `overload`.")
    text: str = Field(description="What happened, in plain words, with figures.")
    advice: str = Field(description="What to look at before `reset`.")
    at: datetime = Field(description="When it was noticed, UTC.")
    peak_torque_nm: float | None = Field(description="Largest torque of the motion it ended, newton metres.")
    angle_deg: float | None = Field(description="Where it happened, degrees; null if the position was not known.")


class HelmReport(Shown):
    """Who holds the right to start motion."""

    holder: str = Field(description="Label of the holder.")
    since: datetime = Field(description="Since when, UTC.")
    yours: bool = Field(description="Whether the one who reads this holds it.")


class LinkReport(Shown):
    """How well service and firmware hear each other."""

    state: Literal["connected", "connecting", "offline", "incompatible"]
    reason: str | None = Field(description="Why there is no link, in plain words.")
    round_trip_ms: float | None = Field(description="Least round trip of late, milliseconds.")
    errors: int = Field(description="Lines dropped by either side in this connection.")
    reconnects: int = Field(description="Connections made after the first.")
    firmware_version: str | None
    protocol_version: int | None
    board_id: str | None


class LimitsReport(Shown):
    """The sheet's limits; null where the sheet gives none."""

    speed_deg_s: float
    accel_deg_s2: float
    jerk_deg_s3: float
    torque_nm: float | None


class TravelReport(Shown):
    """How far the output may go, and what the two ways are called."""

    min_deg: float | None
    max_deg: float | None
    endless: bool
    up_word: str
    down_word: str


class Snapshot(Shown):
    """Everything about one servo at one moment."""

    name: str
    state: ServoState
    homed: bool = Field(description="Whether the position is known; if not, `angle_deg` is null.")
    armed: bool = Field(description="Whether the bridge may drive.")
    angle_deg: float | None = Field(description="Angle of the output, degrees.")
    target_deg: float | None = Field(description="Where the present motion goes, degrees.")
    speed_deg_s: float | None = Field(description="Speed of the output, degrees per second.")
    torque_nm: float | None = Field(description="Torque at the output by the motor model, newton metres.")
    duty: float | None = Field(description="Drive, -1 to 1.")
    supply_v: float | None = Field(description="Supply voltage, volts; null if it is not measured.")
    winding_c: float | None = Field(description="Temperature of the winding by the model, degrees Celsius.")
    fault: FaultReport | None
    helm: HelmReport | None
    motion: MotionReport | None = Field(description="The motion that runs, or null.")
    run: str | None = Field(description="The run of a sequence that moves this servo, or null.")
    link: LinkReport
    source: Literal["host", "pulse"] = Field(description="Who leads: this service, or a pulse at the input.")
    pulse_us: int | None = Field(description="Width of the pulse at the input, microseconds; null while there is none.")
    held_up: bool = Field(
        description="More than the overload torque holds the lever up, and the sheet says to ease: it goes on by itself."
    )
    override: float = Field(description="Speed override, 0 to 1.5 of planned.")
    limits: LimitsReport | None = Field(description="Null: the sheet has no limits, so this servo cannot move.")
    travel: TravelReport | None
    deg_per_count: float = Field(description="Degrees of the output for one count.")
    counts: int | None = Field(description="The count itself, from the home edge; raw where not homed.")
    age_s: float | None = Field(description="Age of the newest telemetry, seconds.")


class TraceRow(Shown):
    """One moment of a motion."""

    t_s: float = Field(description="Seconds since the motion began.")
    angle_deg: float | None
    target_deg: float | None
    reference_deg: float | None
    speed_deg_s: float
    torque_nm: float
    current_a: float
    duty: float
    supply_v: float | None
    counts: int
