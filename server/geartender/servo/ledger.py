"""The motions of one servo: those remembered, those under way, those that wait."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable
from datetime import datetime

from geartender.errors import Unknown
from geartender.link.lines import Telemetry
from geartender.servo.live import Live, rounded
from geartender.servo.models import MotionKind, MotionState
from geartender.servo.motions import Motion, Who

REMEMBERED = 100
"""Motions kept after their end; the journal keeps all of them."""

TRACED = 20
"""Motions whose trace is kept: 25 MB at the most, and a few in practice."""

APPEARS_S = 0.5
"""s after its start by which a motion must show in telemetry; else it was lost on the way."""

NO_DRIVE = ("disarmed", "faulted")
"""States in which no motion can be under way."""

HOW = {
    "done": MotionState.DONE,
    "replaced": MotionState.REPLACED,
    "stopped": MotionState.STOPPED,
    "faulted": MotionState.FAULTED,
}


class Ledger:
    """Keeps the motions and gives each its end as telemetry tells it. `on_end` is called after every end."""

    def __init__(self, servo: str, first_number: int, on_end: Callable[[Motion], None]) -> None:
        self._servo = servo
        self._number = first_number
        self._on_end = on_end
        self._all: OrderedDict[str, Motion] = OrderedDict()
        self.live: list[Motion] = []
        """Under way in the firmware, or on their way there, oldest first."""

    def new(self, kind: MotionKind, who: Who, asked_at: datetime, target_deg: float | None = None) -> Motion:
        """A new motion, not under way yet."""
        number = self.next_number()
        motion = Motion(f"{number:x}", self._servo, kind, who, asked_at, number, target_deg)
        self._all[motion.id] = motion
        self._thin_out()
        return motion

    def _thin_out(self) -> None:
        """Let the traces of older motions go, and the oldest motions whole."""
        for motion in list(self._all.values())[:-TRACED]:
            if motion.final:
                motion.trace.clear()
        while len(self._all) > REMEMBERED:
            oldest = next((one for one in self._all.values() if one.final), None)
            if oldest is None:
                break
            del self._all[oldest.id]

    def next_number(self) -> int:
        """A number that the firmware has not had from this service."""
        self._number += 1
        return self._number

    def get(self, motion_id: str) -> Motion:
        """A motion that is still remembered. Raises Unknown."""
        try:
            return self._all[motion_id]
        except KeyError:
            raise Unknown(f"There is no motion {motion_id!r}, or it is too long ago.") from None

    def newest_first(self) -> list[Motion]:
        """All that are remembered."""
        return list(reversed(self._all.values()))

    def start(self, motion: Motion, at: float) -> None:
        """It is under way, or will be at that host time."""
        motion.state = MotionState.RUNNING
        motion.started = at
        motion.due = max(motion.due, at)
        if motion not in self.live:
            self.live.append(motion)

    @property
    def running(self) -> Motion | None:
        """The newest under way."""
        return self.live[-1] if self.live else None

    def finish(self, motion: Motion, state: MotionState, now: float, reason: str | None = None) -> None:
        """Give a motion its end."""
        if motion in self.live:
            self.live.remove(motion)
        if not motion.final:
            motion.finish(state, now, reason)
            self._on_end(motion)

    def finish_all(self, state: MotionState, now: float, reason: str) -> None:
        """Give every motion under way the same end."""
        for motion in list(self.live):
            self.finish(motion, state, now, reason)

    def follow(self, live: Live, fault_reason: Callable[[], str]) -> None:
        """Read the ends of motions off a row of telemetry, and keep the row in the trace of the one that runs."""
        row = live.row
        for motion in list(self.live):
            if motion.number == row.motion:
                self._note(motion, live)
            elif motion.number == row.ended and not (motion.held and row.how == "done"):
                self._note(motion, live)
                if row.state != "stopping":  # a motion that was stopped has ended when the lever rests
                    self._end(motion, live, fault_reason)
        self._sweep(row, live.at, fault_reason)

    def _note(self, motion: Motion, live: Live) -> None:
        motion.peak_torque_nm = round(max(motion.peak_torque_nm or 0.0, live.peak_torque_nm), 4)
        if motion.started is not None:
            motion.add_row(live.trace_row(motion.started, motion.target_deg))

    def _end(self, motion: Motion, live: Live, fault_reason: Callable[[], str]) -> None:
        state = HOW.get(live.row.how, MotionState.LOST)
        motion.end_deg = rounded(live.angle_deg)
        if motion.end_deg is not None and motion.target_deg is not None:
            motion.error_deg = round(motion.end_deg - motion.target_deg, 4)
        reason = motion.reason
        if state is MotionState.FAULTED:
            reason = fault_reason()
        elif state is MotionState.STOPPED and motion.released:
            state = MotionState.DONE
        elif state is MotionState.STOPPED and reason is None:
            reason = "stopped"
        elif state is MotionState.REPLACED:
            reason = "another motion took its place"
        self.finish(motion, state, live.at, reason)

    def _sweep(self, row: Telemetry, at: float, fault_reason: Callable[[], str]) -> None:
        """End those whose end telemetry did not show: replaced by a later one, or never begun."""
        numbers = [motion.number for motion in self.live]
        for number in (row.motion, row.ended):
            if number in numbers:
                for motion in self.live[: numbers.index(number)]:
                    self.finish(motion, MotionState.REPLACED, at, "another motion took its place")
                numbers = [motion.number for motion in self.live]
        for motion in list(self.live):
            if row.state in NO_DRIVE:
                state = MotionState.STOPPED if row.fault == "none" else MotionState.FAULTED
                reason = motion.reason if row.fault == "none" else fault_reason()
                self.finish(motion, state, at, reason or "drive was removed")
            elif at > motion.due + APPEARS_S and not motion.held and motion.number not in (row.motion, row.ended):
                # A motion that a stop met before it began is not mentioned by the firmware.
                state = MotionState.STOPPED if motion.reason else MotionState.LOST
                self.finish(
                    motion, state, at, motion.reason or "the controller did not run it, or its end was not heard"
                )
