"""One motion from the asking to its end, with its result and its trace."""

from __future__ import annotations

import asyncio
from dataclasses import dataclass, field
from datetime import datetime

from geartender.servo.models import MotionKind, MotionReport, MotionState, TraceRow

TRACE_ROWS_MAX = 1500
"""Rows; 45 s of telemetry. Of a longer motion every second row is kept, and so on: a board has little memory."""

FINAL = frozenset({MotionState.DONE, MotionState.REPLACED, MotionState.STOPPED, MotionState.FAULTED, MotionState.LOST})


@dataclass(frozen=True)
class Who:
    """Who asks: an opaque name of the browser tab or script, a label for people, and the role it was let in with."""

    client: str
    label: str
    role: str = "drive"
    via: str = "person"
    """How it came: `person` (by hand or script), `run`, `timetable`, `pulse`. The last but one and `run` may have nobody there."""
    run: str | None = None
    """Id of the run that asks, if one does."""
    credential: str = ""
    """Id of the phone or key that asks; empty for whoever is on this machine."""

    @property
    def bearer(self) -> str:
        """Whose helm it is: that of the phone or key, whatever tabs and programs it has; else of the client alone."""
        return self.credential or self.client


@dataclass(eq=False)
class Motion:
    """One commanded movement. Its id, kind and asker never change; the rest is set by the servo that moves."""

    id: str
    servo: str
    kind: MotionKind
    who: Who
    asked_at: datetime
    number: int
    """The number that the firmware knows it by."""
    target_deg: float | None = None
    planned_s: float | None = None
    state: MotionState = MotionState.QUEUED
    started: float | None = None
    """Monotonic seconds at which it began."""
    actual_s: float | None = None
    end_deg: float | None = None
    error_deg: float | None = None
    peak_torque_nm: float | None = None
    torque_nm: float | None = None
    """Torque at the output above which it is an overload, N·m, where it was given one of its own."""
    reason: str | None = None
    due: float = 0.0
    """Monotonic seconds at which the firmware should be at it."""
    held: bool = False
    """The speed override is 0: it waits at rest, still running."""
    released: bool = False
    """The control of a jog was let go, so its stop is its proper end."""
    trace: list[TraceRow] = field(default_factory=list)
    _every: int = 1
    _skipped: int = 0
    _over: asyncio.Event = field(default_factory=asyncio.Event)

    @property
    def final(self) -> bool:
        """Whether it has ended."""
        return self.state in FINAL

    async def ended(self) -> None:
        """Wait until it has ended, however."""
        await self._over.wait()

    def finish(self, state: MotionState, now: float, reason: str | None = None) -> None:
        """Give it its final state; a second ending is ignored."""
        if self.final:
            return
        self.state = state
        self.reason = reason
        if self.started is not None:
            self.actual_s = round(now - self.started, 4)
        self._over.set()

    def add_row(self, row: TraceRow) -> None:
        """Keep a row of the trace; when there are too many, every second one is let go and the pace halved."""
        self._skipped += 1
        if self._skipped < self._every:
            return
        self._skipped = 0
        self.trace.append(row)
        if len(self.trace) > TRACE_ROWS_MAX:
            del self.trace[1::2]
            self._every *= 2

    def trace_rows(self) -> list[TraceRow]:
        """The rows kept so far, oldest first."""
        return list(self.trace)

    def report(self) -> MotionReport:
        """How it stands, for the outside."""
        return MotionReport(
            id=self.id,
            servo=self.servo,
            kind=self.kind,
            state=self.state,
            target_deg=self.target_deg,
            planned_s=self.planned_s,
            actual_s=self.actual_s,
            end_deg=self.end_deg,
            error_deg=self.error_deg,
            peak_torque_nm=self.peak_torque_nm,
            reason=self.reason,
            asked_by=self.who.label,
            asked_at=self.asked_at,
        )
