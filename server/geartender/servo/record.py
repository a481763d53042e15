"""What a servo tells whoever keeps the record of it. The service hands in one that writes the journal."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Protocol

from geartender.servo.models import FaultReport, TraceRow
from geartender.servo.motions import Motion, Who


class Record(Protocol):
    """Keeps the record of a servo."""

    async def begins(self, motion: Motion, what: Mapping[str, Any]) -> None:
        """A motion is about to be sent: returns when that is written down, or when a person has waited long enough.

        `what` is what was asked for. Raises NotStored when it must be written down first and cannot be.
        """
        ...

    def ended(self, motion: Motion, trace: Sequence[TraceRow]) -> None:
        """A motion has its end; `trace` are the seconds before a fault that ended it. Waits for nothing."""
        ...

    def passed_home(self, servo: str, off_counts: int) -> None:
        """The home mark was passed, and the count was so far from where it should be. Waits for nothing."""
        ...

    def happened(
        self, servo: str, event: str, text: str, who: Who | None, fault: FaultReport | None, trace: Sequence[TraceRow]
    ) -> None:
        """Something else happened: a stop, a fault, drive on or off. Waits for nothing."""
        ...


class NoRecord:
    """Keeps none."""

    async def begins(self, motion: Motion, what: Mapping[str, Any]) -> None:
        """Nothing to wait for."""

    def ended(self, motion: Motion, trace: Sequence[TraceRow]) -> None:
        """Forgotten."""

    def passed_home(self, servo: str, off_counts: int) -> None:
        """Forgotten."""

    def happened(
        self, servo: str, event: str, text: str, who: Who | None, fault: FaultReport | None, trace: Sequence[TraceRow]
    ) -> None:
        """Forgotten."""
