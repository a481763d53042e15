"""Writes what a servo tells into the journal: each motion before it is sent and when it has ended, and what else happened."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from geartender.servo.models import FaultReport, MotionKind, MotionState, TraceRow
from geartender.servo.motions import Motion, Who
from geartender.store import Store
from geartender.store.journal import Intent

KINDS = {
    "armed": "arm",
    "disarmed": "disarm",
    "reset": "reset",
    "stop": "stop",
    "helm": "helm",
    "override": "override",
    "fault": "fault",
    "audit": "audit",
    "host-silent": "link",
    "firmware": "link",
    "connected": "link",
    "disconnected": "link",
}
"""The events that are written down, and as what. Motions are written by `begins` and `ended`."""

THE_SERVO = Who("", "the servo itself", via="service")
"""Who did what nobody asked for: a fault, a link that was lost."""

FIGURES = ("planned_s", "actual_s", "target_deg", "end_deg", "error_deg", "peak_torque_nm")
"""Fields of a motion's report that its entry keeps."""


class Recorder:
    """Keeps the record of all servos in one journal, and lets a notice stand for as long as a fault does."""

    def __init__(
        self,
        store: Store,
        on_end: Sequence[Callable[[Motion], None]] = (),
        on_mark: Callable[[str, int], None] = lambda *_: None,
    ) -> None:
        """`on_end` are called with each motion that has ended, `on_mark` with each passage of the home mark."""
        self._on_end = on_end
        self._on_mark = on_mark
        self._journal = store.journal
        self._notices = store.notices
        self._open: dict[tuple[str, str], Intent] = {}
        """Entries of motions that have not ended, by servo and motion."""
        self.motions: Counter[tuple[str, str, str]] = Counter()
        """How many motions have ended since the start, by servo, kind and result."""
        self.faults: Counter[tuple[str, str]] = Counter()
        """How many faults there were since the start, by servo and cause."""

    async def begins(self, motion: Motion, what: Mapping[str, Any]) -> None:
        """Write an intent before the motion is sent. Raises NotStored when nobody is there and it cannot be kept."""
        intent = await self._journal.intend(
            motion.kind.value,
            words(motion, what),
            who=motion.who.label,
            via=motion.who.via,
            servo=motion.servo,
            what=what,
            motion=motion.id,
            run=motion.who.run,
        )
        self._open[motion.servo, motion.id] = intent
        if motion.final:  # it was given up while this was written
            self.ended(motion, ())

    def ended(self, motion: Motion, trace: Sequence[TraceRow]) -> None:
        """Write what became of it; a motion that was refused before it began has no entry, or has its result already."""
        intent = self._open.pop((motion.servo, motion.id), None)
        for told in self._on_end:
            told(motion)
        if intent is None:
            return
        self.motions[motion.servo, motion.kind.value, motion.state.value] += 1
        report = motion.report().model_dump(mode="json", include=set(FIGURES), exclude_none=True)
        faulted = motion.state is MotionState.FAULTED
        self._journal.settle(
            intent, motion.state.value, reason=motion.reason, figures=report, trace=_rows(trace) if faulted else ()
        )

    def passed_home(self, servo: str, off_counts: int) -> None:
        """Tell whoever counts; the journal has those that were off by the event."""
        self._on_mark(servo, off_counts)

    def happened(
        self, servo: str, event: str, text: str, who: Who | None, fault: FaultReport | None, trace: Sequence[TraceRow]
    ) -> None:
        """Write down what is not a motion, unless the entries of motions say it already."""
        kind = KINDS.get(event)
        if kind is None:
            return
        if fault is not None:
            self.faults[servo, fault.cause] += 1
            self._notices.set("fault", servo, fault.text, fault.advice, servo=servo)
        elif event == "reset":
            self._notices.clear("fault", servo)
        who = who or THE_SERVO
        cause = fault.cause if fault else None
        self._journal.tell(
            kind, text, who=who.label, via=who.via, servo=servo, run=who.run, cause=cause, trace=_rows(trace)
        )


def words(motion: Motion, what: Mapping[str, Any]) -> str:
    """What a motion is to do, in plain words."""
    match motion.kind:
        case MotionKind.HOME:
            return "find the home mark"
        case MotionKind.MOVE:
            return f"move to {motion.target_deg:g}°" if motion.target_deg is not None else "move"
        case MotionKind.TURN:
            far = (
                f", {what['turns']:g} turns"
                if "turns" in what
                else f" for {what['for_s']:g} s"
                if "for_s" in what
                else ""
            )
            return f"turn at {what['speed_deg_s']:g}°/s{far}"
        case MotionKind.JOG:
            return f"jog at {what['speed_deg_s']:g}°/s"


def _rows(trace: Sequence[TraceRow]) -> list[dict[str, Any]]:
    return [row.model_dump(mode="json") for row in trace]
