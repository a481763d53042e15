"""What holds a servo for longer than one motion: a run of a sequence. A person's act always wins over it, and it is told who."""

from __future__ import annotations

from enum import StrEnum
from typing import Protocol

from geartender.servo.motions import Who


class Interruption(StrEnum):
    """What takes a servo away from the one that holds it."""

    PERSON = "person"
    """Stop, disarming, or the helm taken."""
    FAULT = "fault"
    LOST = "lost"


class Claim(Protocol):
    """Holds a servo."""

    @property
    def id(self) -> str:
        """Shown as `run` in the snapshot."""
        ...

    @property
    def who(self) -> Who:
        """In whose name it commands."""
        ...

    def interrupted(self, servo: str, by: Interruption, reason: str) -> None:
        """The servo is not yours any more, for this reason; called at once, and may be called again."""
        ...
