"""What travels through the exchange: requests with their outcome, and the events that it hands out."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from geartender.link.lines import Field, FirmwareEvent, Hello, Reply, RequestLine, Telemetry, seal


class Outcome(StrEnum):
    """What became of a request."""

    WAITING = "waiting"
    ANSWERED = "answered"
    GIVEN_UP = "given-up"
    """No answer in time; whether it was obeyed is not known."""
    DROPPED = "dropped"
    """A stop, or a newer request of its kind, overtook it before it was answered."""
    CLOSED = "closed"
    """The conversation ended first."""


class Phase(StrEnum):
    """Where the conversation stands."""

    CLOSED = "closed"
    OPENING = "opening"
    OPEN = "open"
    INCOMPATIBLE = "incompatible"


@dataclass(eq=False, slots=True)
class Request:
    """One request on its way. `outcome` says how it stands, `reply` holds the answer once there is one."""

    verb: str
    fields: tuple[Field, ...]
    give_up_at: float
    newest_only: bool = False
    id: int | None = None
    line: bytes = b""
    first_sent: float = 0.0
    last_sent: float = 0.0
    resend_at: float = 0.0
    sends: int = 0
    outcome: Outcome = Outcome.WAITING
    reply: Reply | None = None

    def seal(self, number: int) -> None:
        """Give it its id, and with it its line. Raises ValueError when that would be too long."""
        self.id = number
        self.line = seal(RequestLine(number, self.verb, self.fields).to_body())

    def beat_instead(self) -> Request:
        """A beat that takes its place in the order: obeyed if this one was not, else answered from memory."""
        beat = Request("beat", (), float("inf"), outcome=Outcome.WAITING)
        beat.first_sent, beat.last_sent, beat.resend_at, beat.sends = (
            self.first_sent,
            self.last_sent,
            self.resend_at,
            self.sends + 1,
        )
        if self.id is not None:
            beat.seal(self.id)
        return beat


@dataclass(frozen=True, slots=True)
class Ended:
    """A request came to its end; look at its outcome."""

    request: Request


@dataclass(frozen=True, slots=True)
class Opened:
    """The firmware answered `hello`."""

    hello: Hello


@dataclass(frozen=True, slots=True)
class Closed:
    """The conversation is over, and why. `connect` is needed again."""

    reason: str


@dataclass(frozen=True, slots=True)
class Incompatible:
    """The firmware speaks another protocol; what to do stands in the reason."""

    reason: str


@dataclass(frozen=True, slots=True)
class StopConfirmed:
    """Telemetry shows that the stop of this number was obeyed."""

    number: int


Event = Ended | Opened | Closed | Incompatible | StopConfirmed | Telemetry | FirmwareEvent
