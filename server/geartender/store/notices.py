"""What needs a person, at one place: each notice stands until what clears it has happened.

Those of now (a fault, a disk in trouble) are set again by whoever sees them; lasting ones (a missed run) are kept over a restart.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict, dataclass
from datetime import datetime
from typing import Any, Literal

Change = Literal["raised", "changed", "cleared"]


@dataclass(frozen=True, slots=True)
class Notice:
    """Something that needs a person."""

    kind: str
    """`fault missed clock disk store battery`, or another word of whoever sets it."""
    name: str
    """Tells those of a kind apart: the servo, or the entry of the timetable."""
    text: str
    """What is the matter."""
    advice: str
    """What to do."""
    since: datetime
    servo: str | None = None
    lasting: bool = False
    """Kept over a restart, and a person may put it aside."""

    @property
    def id(self) -> str:
        """Names it."""
        return f"{self.kind}:{self.name}"

    def as_state(self) -> dict[str, Any]:
        """For keeping."""
        return {**asdict(self), "since": self.since.isoformat()}

    @classmethod
    def from_state(cls, value: dict[str, Any]) -> Notice:
        """As it was kept."""
        return cls(**{**value, "since": datetime.fromisoformat(value["since"])})


class Notices:
    """All notices that stand. `keep` writes a lasting one down, or forgets it (None)."""

    def __init__(self, wall: Callable[[], datetime], keep: Callable[[str, dict[str, Any] | None], None]) -> None:
        self._wall = wall
        self._keep = keep
        self._standing: dict[str, Notice] = {}
        self._listeners: list[Callable[[Change, Notice], None]] = []

    def listen(self, listener: Callable[[Change, Notice], None]) -> None:
        """Call `listener` with each change from now on."""
        self._listeners.append(listener)

    def all(self) -> list[Notice]:
        """Those that stand, newest first."""
        return sorted(self._standing.values(), key=lambda notice: notice.since, reverse=True)

    def get(self, notice_id: str) -> Notice | None:
        """One that stands, or None."""
        return self._standing.get(notice_id)

    def set(
        self, kind: str, name: str, text: str, advice: str, *, servo: str | None = None, lasting: bool = False
    ) -> None:
        """Let a notice stand, from now on or as before; another text renews it."""
        before = self._standing.get(f"{kind}:{name}")
        since = self._wall() if before is None else before.since
        notice = Notice(kind, name, text, advice, since, servo, lasting)
        if notice == before:
            return
        self._standing[notice.id] = notice
        if lasting:
            self._keep(notice.id, notice.as_state())
        self._tell("raised" if before is None else "changed", notice)

    def clear(self, kind: str, name: str) -> None:
        """What it was about is over; nothing happens when it does not stand."""
        notice = self._standing.pop(f"{kind}:{name}", None)
        if notice is None:
            return
        if notice.lasting:
            self._keep(notice.id, None)
        self._tell("cleared", notice)

    def restore(self, kept: dict[str, dict[str, Any]]) -> None:
        """Let those stand again that were kept."""
        for value in kept.values():
            notice = Notice.from_state(value)
            self._standing.setdefault(notice.id, notice)

    def _tell(self, change: Change, notice: Notice) -> None:
        for listener in self._listeners:
            listener(change, notice)
