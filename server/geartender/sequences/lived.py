"""Which slots are due, missed or lived through already, whatever the clock does. Pure: both clocks come in as arguments.

The wall clock may be set forward or back, or stand still while the machine is off. Times that the service has followed are
remembered, so that a slot in them never fires a second time; what the clock jumped over is told as missed, or caught up.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from itertools import islice
from typing import Any

from geartender.sequences.slots import Slots

GRACE = timedelta(seconds=60)
"""How late a slot may be found and still be in time: two looks, and a machine that was busy."""

STEP = timedelta(seconds=2)
"""A difference between the two clocks above this is a clock that was set; below, it was steered."""

COUNTED_MAX = 1000
"""Missed slots that are counted one by one; beyond, it is this many or more."""

SPANS_MAX = 256
"""Spans of time remembered: of more, those that are closest together are joined."""


@dataclass(frozen=True, slots=True)
class Timed:
    """An entry as it is watched."""

    revision: int
    slots: Slots
    late_by: timedelta | None
    """How late it may be caught up; None: not at all."""


@dataclass(frozen=True, slots=True)
class Found:
    """What a look has found for one entry."""

    name: str
    due: datetime | None = None
    missed: int = 0
    missed_first: datetime | None = None
    missed_last: datetime | None = None
    again: int = 0
    """Slots in a time that was lived through already; they do not fire a second time."""


@dataclass(slots=True)
class Seen:
    """One entry since when."""

    revision: int
    since: datetime


@dataclass(slots=True)
class Lived:
    """What was lived through so far."""

    seen: datetime | None = None
    """The wall clock at the last look."""
    spans: list[tuple[datetime, datetime]] = field(default_factory=list)
    """Spans of wall-clock time that were followed, apart from each other and in order: later than the first, up to the second."""
    entries: dict[str, Seen] = field(default_factory=dict)
    _at: float | None = None

    def look(self, wall: datetime, monotonic: float, entries: Mapping[str, Timed]) -> tuple[list[Found], timedelta]:
        """What is due now, and by how much the clock was set since the last look (0 when it was not)."""
        before, elapsed = self.seen, timedelta(seconds=monotonic - self._at) if self._at is not None else None
        self.seen, self._at = wall, monotonic
        self._meet(entries, wall if before is None else min(before, wall), known=before is not None)
        if before is None:
            return [], timedelta(0)
        set_by = timedelta(0) if elapsed is None else (wall - before) - elapsed
        set_by = set_by if abs(set_by) > STEP else timedelta(0)
        if wall <= before:
            return [], set_by
        found = [one for name, entry in entries.items() if (one := self._entry(name, entry, before, wall)) is not None]
        followed = wall if elapsed is not None and not set_by else before + (elapsed or timedelta(0))
        self._add(before, min(followed, wall))
        for one in found:
            if one.due is not None:
                self._add(one.due - timedelta(microseconds=1), one.due)
        return found, set_by

    def covers(self, moment: datetime) -> bool:
        """Whether a moment was lived through."""
        return any(begin < moment <= end for begin, end in self.spans)

    def _meet(self, entries: Mapping[str, Timed], now: datetime, *, known: bool) -> None:
        """Entries count from when they are first seen as they are now; a clock set back takes that along."""
        for name in [name for name in self.entries if name not in entries]:
            del self.entries[name]
        for name, entry in entries.items():
            seen = self.entries.get(name)
            if seen is None or seen.revision != entry.revision:
                self.entries[name] = Seen(entry.revision, now)
            elif known and seen.since > now:
                seen.since = now

    def _entry(self, name: str, entry: Timed, before: datetime, wall: datetime) -> Found | None:
        begin = max(before, self.entries[name].since)
        if begin >= wall:
            return None
        in_time = max(begin, wall - max(GRACE, entry.late_by or GRACE))
        late = list(islice(entry.slots.between(begin, in_time), COUNTED_MAX)) if begin < in_time else []
        fresh = list(entry.slots.between(in_time, wall))
        again = sum(map(self.covers, (*late, *fresh)))
        late = [slot for slot in late if not self.covers(slot)]
        fresh = [slot for slot in fresh if not self.covers(slot)]
        missed = [*late, *fresh[:-1]]
        due = fresh[-1] if fresh else None
        if due is None and not missed and not again:
            return None
        return Found(name, due, len(missed), missed[0] if missed else None, missed[-1] if missed else None, again)

    def _add(self, begin: datetime, end: datetime) -> None:
        if end <= begin:
            return
        joined: list[tuple[datetime, datetime]] = []
        for span in sorted([*self.spans, (begin, end)]):
            if joined and span[0] <= joined[-1][1]:
                joined[-1] = (joined[-1][0], max(joined[-1][1], span[1]))
            else:
                joined.append(span)
        while len(joined) > SPANS_MAX:
            index = min(range(len(joined) - 1), key=lambda at: joined[at + 1][0] - joined[at][1])
            joined[index : index + 2] = [(joined[index][0], joined[index + 1][1])]
        self.spans = joined

    # Keeping

    def as_state(self) -> dict[str, Any]:
        """For keeping over a restart."""
        return {
            "seen": self.seen.isoformat() if self.seen else None,
            "spans": [[begin.isoformat(), end.isoformat()] for begin, end in self.spans],
            "entries": {name: [one.revision, one.since.isoformat()] for name, one in self.entries.items()},
        }

    @classmethod
    def from_state(cls, value: dict[str, Any] | None) -> Lived:
        """As it was kept; without that, nothing was lived through."""
        if not value:
            return cls()
        return cls(
            datetime.fromisoformat(value["seen"]) if value["seen"] else None,
            [(datetime.fromisoformat(begin), datetime.fromisoformat(end)) for begin, end in value["spans"]],
            {
                name: Seen(revision, datetime.fromisoformat(since))
                for name, (revision, since) in value["entries"].items()
            },
        )
