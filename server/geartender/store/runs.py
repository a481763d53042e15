"""Runs and their steps, as jobs for the database."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from sqlalchemy import select, update
from sqlalchemy.orm import Session

from geartender.errors import Unknown
from geartender.store.tables import RunRow, RunStepRow

UNDER_WAY = ("queued", "running", "held")
"""States of a run that has not ended."""

CUT_OFF = "The service ended while it ran; how far it got is in its steps. It is not resumed."


@dataclass(frozen=True, slots=True)
class Run:
    """One execution of a sequence, without its steps."""

    id: str
    sequence: str
    servo: str | None
    state: str
    """`queued running held done stopped faulted unknown`."""
    asked_by: str
    asked_at: datetime
    started_at: datetime | None = None
    ended_at: datetime | None = None
    reason: str | None = None
    detail: dict[str, Any] = field(default_factory=dict)
    """Whatever else the runner wants to find again, such as `planned_s` and `actual_s`."""
    number: int | None = None
    """Counts up in the order in which runs were added; given by the store."""


@dataclass(frozen=True, slots=True)
class RunStep:
    """What became of one step."""

    run: str
    position: int
    """Counts from 0, in the order in which the steps were begun."""
    body: dict[str, Any]


def put(session: Session, run: Run) -> Run:
    """Add a run, or renew the one with that id."""
    row = session.scalar(select(RunRow).where(RunRow.id == run.id))
    if row is None:
        row = RunRow(id=run.id, sequence=run.sequence, servo=run.servo, asked_by=run.asked_by, asked_at=run.asked_at)
        session.add(row)
    row.state, row.started_at, row.ended_at = run.state, run.started_at, run.ended_at
    row.reason, row.detail = run.reason, run.detail
    session.flush()
    return _run(row)


def get(session: Session, run_id: str) -> Run:
    """One run. Raises Unknown."""
    row = session.scalar(select(RunRow).where(RunRow.id == run_id))
    if row is None:
        raise Unknown(f"There is no run {run_id!r}, or it is too long ago.")
    return _run(row)


def listed(session: Session, limit: int, before: int | None, sequence: str | None) -> list[Run]:
    """Runs, newest first, from below a number on."""
    query = select(RunRow).order_by(RunRow.number.desc()).limit(limit)
    if before is not None:
        query = query.where(RunRow.number < before)
    if sequence is not None:
        query = query.where(RunRow.sequence == sequence)
    return [_run(row) for row in session.scalars(query)]


def put_step(session: Session, step: RunStep) -> None:
    """Add a step of a run, or renew the one at that position."""
    session.merge(RunStepRow(run=step.run, position=step.position, body=step.body))


def steps(session: Session, run_id: str, limit: int, after: int) -> list[RunStep]:
    """The steps of a run behind a position (-1: from the first on), in order."""
    rows = session.scalars(
        select(RunStepRow)
        .where(RunStepRow.run == run_id, RunStepRow.position > after)
        .order_by(RunStepRow.position)
        .limit(limit)
    )
    return [RunStep(row.run, row.position, row.body) for row in rows]


def mark_unknown(session: Session) -> int:
    """At the start: no run goes on by itself. Gives how many had not ended."""
    result = session.execute(update(RunRow).where(RunRow.state.in_(UNDER_WAY)).values(state="unknown", reason=CUT_OFF))
    return int(result.rowcount)  # type: ignore[attr-defined]


def _run(row: RunRow) -> Run:
    return Run(
        id=row.id,
        sequence=row.sequence,
        servo=row.servo,
        state=row.state,
        asked_by=row.asked_by,
        asked_at=row.asked_at,
        started_at=row.started_at,
        ended_at=row.ended_at,
        reason=row.reason,
        detail=row.detail,
        number=row.number,
    )
