"""Many entries of a journal at once, as a servo would have written them; invented."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from typing import Any

from sqlalchemy import insert
from sqlalchemy.orm import Session

from geartender.store.journal_rows import day_of
from geartender.store.tables import JournalDayRow, JournalRow

FIRST = datetime(2031, 3, 1, 6, 0, tzinfo=UTC)
SPREAD = 3
"""s between two entries."""

AT_ONCE = 20_000


def fill(session: Session, before: int, rows: int) -> None:
    """Write so many entries behind the `before` that are there."""
    part: list[dict[str, Any]] = []
    for row in _rows(before, rows):
        part.append(row)
        if len(part) == AT_ONCE:
            session.execute(insert(JournalRow), part)
            part.clear()
    if part:
        session.execute(insert(JournalRow), part)
    days = {}
    for number in range(before, before + rows):
        days.setdefault(day_of(FIRST + timedelta(seconds=SPREAD * number)), [number + 1, 0])[1] = number + 1
    for day, (first, last) in days.items():
        session.merge(JournalDayRow(day=day, first=first, last=last))


def _rows(before: int, rows: int) -> Iterator[dict[str, Any]]:
    for number in range(before, before + rows):
        at = FIRST + timedelta(seconds=SPREAD * number)
        kind = "fault" if number % 20 == 7 else "arm" if number % 10 == 3 else "move"
        yield {
            "id": number + 1,
            "at": at,
            "zone": "Europe/Lisbon",
            "kind": kind,
            "servo": "vent" if number % 3 else "louvre",
            "who": "the run of morning",
            "via": "run",
            "motion": f"{number:x}",
            "run": f"run {number // 40}",
            "text": f"{kind} to {number % 90}°",
            "what": {"to_deg": number % 90},
            "result": "done",
            "result_at": at + timedelta(seconds=2),
            "cause": None,
            "reason": None,
            "figures": {"planned_s": 4.2, "actual_s": 4.21, "end_deg": float(number % 90), "error_deg": 0.01},
            "late": False,
            "traced": False,
        }
