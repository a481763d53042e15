"""Bodies that belong to the HTTP interface alone; those of a servo stand in `geartender.servo`."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Generic, Literal, Self, TypeVar

from pydantic import BaseModel, ConfigDict, Field

from geartender.servo.models import Shown
from geartender.servo.requests import Request
from geartender.store.notices import Notice

T = TypeVar("T")


class Listing(BaseModel, Generic[T]):
    """A list, or a part of one."""

    items: list[T]
    next: str | None = Field(None, description="Where the next part begins; null at the end.")


class StopRequest(Request):
    """How to stop. An empty body is category 1."""

    model_config = ConfigDict(json_schema_extra={"examples": [{"category": 1}]})

    category: Literal[0, 1, 2] = Field(
        1,
        description="As IEC 60204-1 names them: 0 removes drive at once, 1 ramps down first, 2 ramps down and keeps it.",
    )


class OverrideRequest(Request):
    """Another speed for what is planned, also while it moves."""

    model_config = ConfigDict(json_schema_extra={"examples": [{"speed": 0.5}]})

    speed: Annotated[float, Field(ge=0, le=1.5)] = Field(description="Share of the planned speed: 1 is as planned.")


class SourceRequest(Request):
    """Who is to lead."""

    model_config = ConfigDict(json_schema_extra={"examples": [{"source": "pulse"}]})

    source: Literal["host", "pulse"] = Field(
        description="`pulse`: the pulse at the input leads from now on, and may move the servo at once. `host`: this service."
    )


class HelmRequest(Request):
    """Take the helm."""

    model_config = ConfigDict(json_schema_extra={"examples": [{"force": False}]})

    force: bool = Field(default=False, description="Take it from its holder, and stop what moves (category 2) first.")


class SimulationRequest(Request):
    """One line as `geartender simulate` reads them."""

    model_config = ConfigDict(json_schema_extra={"examples": [{"command": "jam"}]})

    command: Annotated[str, Field(min_length=1, max_length=64, pattern=r"^[\x20-\x7e]+$")] = Field(
        description="`jam`, `free`, `load NM`, `push NM`, `weight NM`, `unplug S`, `reset`, `supply V`, `pulse US`, `pulse off`,"
        " `hand TURNS` or `drop-edges P`."
    )


class TruthReport(Shown):
    """What the simulated mechanics really do now, not what the firmware believes."""

    t_s: float = Field(description="Seconds since the simulation began.")
    output_deg: float = Field(description="Angle of the output, degrees.")
    motor_counts: float = Field(description="Angle of the motor, in counts.")
    output_deg_s: float = Field(description="Speed of the output, degrees per second.")
    duty: float = Field(description="Drive, -1 to 1.")
    current_a: float = Field(description="Current of the motor, amperes.")
    output_nm: float = Field(description="Torque at the output, newton metres.")


class LinkHealth(Shown):
    """How the link to one firmware stands."""

    state: Literal["connected", "connecting", "offline", "incompatible"]
    firmware_version: str | None


class Health(Shown):
    """Whether the service runs, and whether it can do its work. What is null is told only to those who were let in."""

    alive: Literal[True] = Field(description="It answers.")
    ready: bool = Field(description="It keeps what happens, and hears every servo.")
    reasons: list[str] | None = Field(description="Why it is not ready, in plain words.")
    version: str = Field(description="Version of the service.")
    links: dict[str, LinkHealth] | None = Field(description="The link to each servo's firmware, by name.")
    status: Literal["ok", "impaired"] = Field(description="`impaired`: it runs, but `store` says what it cannot keep.")
    store: str | None = Field(description="`ok`, or `full read-only damaged failed unreachable`; then nothing is kept.")
    servos: dict[str, str] | None = Field(description="State of each servo, by name.")


class NoticeReport(Shown):
    """Something that needs a person."""

    id: str
    kind: str = Field(description="`fault missed clock disk store battery …`")
    servo: str | None
    text: str = Field(description="What is the matter.")
    advice: str = Field(description="What to do.")
    since: datetime = Field(description="Since when, UTC.")
    can_be_put_aside: bool = Field(
        description="Whether a person may put it aside; others go when what they are about is over."
    )

    @classmethod
    def of(cls, notice: Notice) -> Self:
        """A notice as the outside sees it."""
        return cls(
            id=notice.id,
            kind=notice.kind,
            servo=notice.servo,
            text=notice.text,
            advice=notice.advice,
            since=notice.since,
            can_be_put_aside=notice.lasting,
        )


class ProblemBody(BaseModel):
    """An error (RFC 9457). Further members may follow, by the kind of problem."""

    model_config = ConfigDict(extra="allow")

    type: str = Field(description="Path of a page that says what it means and what to do.")
    title: str = Field(description="The kind of problem, always the same for one type.")
    status: int = Field(description="The status of the answer.")
    detail: str = Field(description="What is wrong this time.")
    errors: list[dict[str, str]] | None = Field(
        None, description="With `invalid`: every mistake, with a pointer to its place."
    )
