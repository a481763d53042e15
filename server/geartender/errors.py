"""Every error that Geartender raises on purpose, in one tree with one root.

GeartenderError
├── PlanError            a path was asked for that cannot be planned; the request is wrong
├── BuildSheetError      a build sheet has mistakes; carries all of them, not only the first
├── DocumentError        a sequence or an entry of the timetable has mistakes; carries all of them
├── NoStrength           the strength of a tooth is not known; nothing is claimed for it, and the message says why
├── PlantError           a plant file has mistakes, or a fault command does; carries all of them
├── ConfigError          a service configuration has mistakes; carries all of them
├── Unreachable          the client gets no answer from the service
├── NotDone              a motion that the client waited for ended otherwise than as done
│   └── StoppedItself    it ended in a fault
├── RunNotDone           a run that the client waited for ended otherwise than as done
│   └── RunStoppedItself a servo of it ended in a fault
├── BenchNotDone         a run of the bench that the client went through ended otherwise than as done
│   ├── BenchFoundWrong  it found something wrong with the machine, and named it
│   └── BenchStoppedItself a fault ended it
├── TookTooLong          the client waited too long for a motion, and has stopped it
├── InstallError         the firmware could not be put on the board; says what state the board is in
│   ├── TwoBoards        more than one board is there, and none was named
│   └── NoAnswer         the new firmware did not answer; the old is back where there was one
├── LinkError            the line to the firmware
│   ├── PortError        the port cannot be opened, or is gone
│   ├── QueueFull        more requests wait for the firmware than may wait
│   └── GaveUp           the firmware did not answer a request in time, or the conversation ended
└── Refused              a servo will not do what was asked; nothing has moved. Carries a slug and what to do
    ├── Offline          no link to the firmware
    ├── Disarmed         arm first
    ├── NotHomed         home first
    ├── Faulted          a fault stands; reset first
    ├── HelmHeld         somebody else holds the helm
    ├── Busy             another motion runs, or this can only be done at rest
    │   └── LineTooSlow  the plan reached the firmware too late, or no longer fitted
    ├── OutsideTravel    it would leave the travel
    ├── OverLimit        above a limit of the sheet, or quicker than possible
    ├── Invalid          it makes no sense for this servo
    ├── Unknown          there is no such thing
    ├── Stale            the document was changed since it was read
    ├── RevisionRequired a change that does not say which revision it changes
    ├── NotStored        it could not be kept, so it was not done
    ├── Unauthenticated  nobody who was let in
    ├── Forbidden        the role, or the servo that a key is for, does not allow it
    ├── ProofNeeded      who asks has to prove again who they are
    ├── LastManager      nobody would be left who may let others in
    └── TooManyAttempts  tried too often; says how long to wait

Errors carry their evidence as attributes and build their message from it.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any


class GeartenderError(Exception):
    """The root: catches everything this package raises on purpose, and nothing else."""


class PlanError(GeartenderError, ValueError):
    """A path that cannot be planned. `field` names the argument at fault."""

    def __init__(self, field: str, reason: str) -> None:
        super().__init__(f"{field}: {reason}")
        self.field = field
        self.reason = reason


@dataclass(frozen=True, slots=True)
class Mistake:
    """One mistake in a build sheet: where it is, what is wrong, and what to do about it."""

    path: str
    """As a person writes it: `mesh[0].driven_teeth`. Empty when it concerns the whole file."""
    pointer: str
    """The same place as a JSON Pointer in URI fragment form (RFC 6901 section 6): `#/mesh/0/driven_teeth`."""
    text: str
    """What is wrong and what to do, in one line."""

    def __str__(self) -> str:
        return f"{self.path}: {self.text}" if self.path else self.text

    def as_problem(self) -> dict[str, str]:
        """One member of the `errors` list of a validation problem (RFC 9457 section 3)."""
        return {"detail": str(self), "pointer": self.pointer}


class NoStrength(GeartenderError, ValueError):
    """A tooth for which no published form factor stands. The message is a reason to go after "because"."""


class BuildSheetError(GeartenderError, ValueError):
    """A build sheet that cannot be used. The message has one line for each mistake."""

    def __init__(self, items: Iterable[Mistake], source: str = "") -> None:
        self.items = tuple(items)
        self.source = source
        lines = [f"{source}: {item}" if source else str(item) for item in self.items]
        super().__init__("\n".join(lines))


class DocumentError(GeartenderError, ValueError):
    """A stored document that cannot be used; `what` names its kind. The message has one line for each mistake."""

    def __init__(self, what: str, items: Iterable[Mistake]) -> None:
        self.what = what
        self.items = tuple(items)
        super().__init__("\n".join(map(str, self.items)))


class PlantError(GeartenderError, ValueError):
    """A plant file or a command to the simulated servo that cannot be used. The message has one line for each mistake."""

    def __init__(self, lines: Iterable[str]) -> None:
        self.lines = tuple(lines)
        super().__init__("\n".join(self.lines))


class InstallError(GeartenderError):
    """The firmware could not be put on the board."""


class TwoBoards(InstallError):
    """More than one board is there. `ports` names them."""

    def __init__(self, ports: Iterable[str]) -> None:
        self.ports = tuple(ports)
        super().__init__(f"More than one board is there: {', '.join(self.ports)}. Say which with --port.")


class NoAnswer(InstallError):
    """The new firmware did not answer."""


class LinkError(GeartenderError):
    """Something about the line to the firmware."""


class PortError(LinkError):
    """A port that cannot be opened or is gone; the message says which and why."""


class QueueFull(LinkError):
    """Too many requests wait for the firmware; this one was not taken."""


class GaveUp(LinkError):
    """A request without an answer: whether the firmware has obeyed it is not known. `outcome` says what came first."""

    def __init__(self, verb: str, outcome: str) -> None:
        super().__init__(f"no answer to {verb}: {outcome}")
        self.verb = verb
        self.outcome = outcome


class Refused(GeartenderError):
    """A servo will not do what was asked, and nothing has moved for it.

    `slug` names the kind of problem, `detail` says in plain words what is wrong and what to do, `extra` holds the
    figures that a program may want (shown as members of the problem).
    """

    slug = "refused"

    def __init__(self, detail: str, **extra: float | str) -> None:
        super().__init__(detail)
        self.detail = detail
        self.extra = extra


class Offline(Refused):
    """There is no link to the firmware."""

    slug = "offline"


class Disarmed(Refused):
    """The bridge may not drive: arm first."""

    slug = "disarmed"


class NotHomed(Refused):
    """The position is not known: home first."""

    slug = "not-homed"


class Faulted(Refused):
    """A fault stands: look at it, then reset."""

    slug = "faulted"


class HelmHeld(Refused):
    """Somebody else holds the right to start motion."""

    slug = "helm-held"


class Busy(Refused):
    """Another motion runs, or this can only be done at rest."""

    slug = "busy"


class LineTooSlow(Busy):
    """The line was too slow, or the lever stood elsewhere than thought; a fresh plan may be accepted."""


class OutsideTravel(Refused):
    """The target, or the way to it, lies outside the travel."""

    slug = "outside-travel"


class OverLimit(Refused):
    """Above a limit of the sheet, or quicker than the limits allow."""

    slug = "over-limit"


class Invalid(Refused):
    """What was asked makes no sense for this servo."""

    slug = "invalid"


class Unknown(Refused):
    """There is no such motion, servo or document."""

    slug = "unknown"


class Stale(Refused):
    """The document was changed since it was read."""

    slug = "stale"


class RevisionRequired(Refused):
    """A change of a document that does not say which revision it changes."""

    slug = "revision-required"


class NotStored(Refused):
    """It could not be kept on disk, so it was not done."""

    slug = "not-stored"


class Unauthenticated(Refused):
    """Whoever asks is nobody who was let in."""

    slug = "unauthenticated"


class Forbidden(Refused):
    """Whoever asks was let in, but not for this."""

    slug = "forbidden"


class ProofNeeded(Refused):
    """Whoever asks has to prove again who they are."""

    slug = "proof-needed"


class LastManager(Refused):
    """After this nobody would be left who may let others in."""

    slug = "last-manager"


class TooManyAttempts(Refused):
    """It was tried too often. `extra["retry_after_s"]` says how long to wait."""

    slug = "too-many-attempts"


class ConfigError(GeartenderError, ValueError):
    """A service configuration that cannot be used. The message has one line for each mistake."""

    def __init__(self, items: Iterable[Mistake], source: str = "") -> None:
        self.items = tuple(items)
        super().__init__("\n".join(f"{source}: {item}" if source else str(item) for item in self.items))


class Unreachable(GeartenderError):
    """The client gets no answer from the service."""


class NotDone(GeartenderError):
    """The client waited for a motion that ended otherwise than as done. `report` is the motion as the service gives it."""

    def __init__(self, report: Mapping[str, Any]) -> None:
        reason = report.get("reason") or "the service gives no reason"
        super().__init__(f"the {report['kind']} ended as {report['state']}: {reason}")
        self.report = dict(report)


class RunNotDone(GeartenderError):
    """The client waited for a run that ended otherwise than as done. `report` is the run as the service gives it."""

    def __init__(self, report: Mapping[str, Any]) -> None:
        reason = report.get("reason") or "the service gives no reason"
        super().__init__(f"{report['sequence']} ended as {report['state']}: {reason}")
        self.report = dict(report)


class RunStoppedItself(RunNotDone):
    """A servo of the run has stopped itself. Look at it, then reset."""


class BenchNotDone(GeartenderError):
    """A run of the bench ended otherwise than as done. `report` is the run as the service gives it."""

    def __init__(self, report: Mapping[str, Any]) -> None:
        wrong = report.get("wrong")
        reason = report.get("reason") or "the service gives no reason"
        cure = f"\n{wrong['cure']}" if wrong else ""
        super().__init__(f"{report['procedure']} ended as {report['state']}: {reason}{cure}")
        self.report = dict(report)


class BenchFoundWrong(BenchNotDone):
    """Something is wrong with the machine: see to it, and begin again."""


class BenchStoppedItself(BenchNotDone):
    """The servo has stopped itself. Look at it, then reset."""


class StoppedItself(NotDone):
    """The motion ended in a fault: the servo has stopped itself. Look at it, then reset."""


class TookTooLong(GeartenderError):
    """The client waited longer for a motion than it was to take, and has sent a stop."""
