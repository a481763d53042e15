"""Checks a sequence as a whole before it is saved: every mistake, each with its place in the document. Pure but for its turns."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from geartender.build import BuildSheet
from geartender.errors import DocumentError, Invalid, Mistake, Refused
from geartender.sequences.forecast import Misplaced, forecast
from geartender.sequences.interpreter import Library
from geartender.sequences.model import (
    NESTING_MAX,
    CheckStep,
    MoveStep,
    Path,
    RepeatStep,
    RunStep,
    Sequence,
    TogetherStep,
    TurnStep,
    WaitStep,
    called,
)
from geartender.sequences.reading import mistake_at
from geartender.servo.planning import Travel, check_limit, requested_limits, sheet_limits
from geartender.servo.settings import torque_limit_nm

Sheets = Mapping[str, BuildSheet]


async def check_sequence(name: str, sequence: Sequence, library: Library, sheets: Sheets, servo: str | None) -> None:
    """Raise DocumentError with every mistake; `library` are the stored sequences, `servo` that of steps that name none."""
    whole = {**library, name: sequence}
    found = [*_calls(name, sequence, whole), *_steps(sequence.steps, servo or sequence.servo, sheets, ("steps",))]
    if not found and _all_named(sequence, whole, servo or sequence.servo):
        found = await _as_a_whole(sequence, whole, sheets, servo)
    if found:
        raise DocumentError("sequence", found)


def _calls(name: str, sequence: Sequence, library: Library) -> Iterator[Mistake]:
    """Calls of sequences that are not there, or that lead back here."""
    for at, other in called(sequence):
        if other not in library:
            known = ", ".join(sorted(set(library) - {name})) or "none yet"
            yield mistake_at(at, f"there is no sequence {other!r}; stored are: {known}")
        elif way := _way_back(other, library, (name,)):
            yield mistake_at(at, f"leads back to itself: {' → '.join(way)}; it would never end")


def _way_back(name: str, library: Library, before: tuple[str, ...]) -> tuple[str, ...]:
    """The calls from the first of `before` on that come round to a sequence a second time; empty when none do."""
    way = (*before, name)
    if name in before:
        return way
    for _, other in called(library[name]):
        if other in library and (found := _way_back(other, library, way)):
            return found
    return ()


def _steps(steps: list[Any], servo: str | None, sheets: Sheets, at: Path) -> Iterator[Mistake]:
    """What is wrong with each step by itself, and with the lists in it."""
    if at.count("steps") > NESTING_MAX:
        yield mistake_at(
            at, f"more than {NESTING_MAX} lists within lists; store the inner ones as sequences of their own"
        )
        return
    for index, step in enumerate(steps):
        here = (*at, index)
        own: str | None = step.servo or servo
        if isinstance(step, RepeatStep | TogetherStep):
            yield from _steps(list(step.steps), own, sheets, (*here, "steps"))
        elif step.servo is not None and step.servo not in sheets:
            known = ", ".join(sheets) or "none"
            yield mistake_at((*here, "servo"), f"there is no servo {step.servo!r} here; servos are: {known}")
        elif own is not None and own in sheets:
            try:
                check_step(step, sheets[own])
            except Refused as refused:
                yield mistake_at(here, refused.detail)


def check_step(step: Any, sheet: BuildSheet) -> None:
    """What a step asks of its servo, wherever that stands by then. Raises Refused."""
    if isinstance(step, WaitStep | RunStep):
        return
    limits = sheet_limits(sheet)
    if isinstance(step, MoveStep):
        requested_limits(step, sheet)
        if step.to_deg is not None:
            Travel.of(sheet).check(step.to_deg)
    elif isinstance(step, TurnStep):
        check_limit("speed_deg_s", step.speed_deg_s, limits.velocity, "°/s")
    elif isinstance(step, CheckStep):
        check_limit("torque_below_nm", step.torque_below_nm, torque_limit_nm(sheet), "N·m")
        if isinstance(step.angle_within_deg, tuple):
            for angle in step.angle_within_deg:
                Travel.of(sheet).check(angle, "the angle")


def _all_named(sequence: Sequence, library: Library, servo: str | None) -> bool:
    """Whether every step knows its servo; a sequence may leave it to whoever runs it."""
    return servo is not None or not any(True for _ in _nameless(sequence.steps, library))


def _nameless(steps: list[Any], library: Library) -> Iterator[Any]:
    for step in steps:
        if step.servo is not None or isinstance(step, WaitStep):
            continue
        if isinstance(step, RunStep):
            other = library[step.sequence]
            if other.servo is None:
                yield from _nameless(other.steps, library)
        elif isinstance(step, RepeatStep | TogetherStep):
            yield from _nameless(list(step.steps), library)
        else:
            yield step


async def _as_a_whole(sequence: Sequence, library: Library, sheets: Sheets, servo: str | None) -> list[Mistake]:
    """What only shows when it is worked out step after step."""
    try:
        await forecast(sequence, library, sheets, {}, servo)
    except Misplaced as wrong:
        place = wrong.place
        inside = "" if place.sequence is None else f"in {place}: "
        at = place.path if place.sequence is None else place.entry
        return [mistake_at(at, inside + wrong.refused.detail)]
    except Invalid as refused:
        return [mistake_at(("steps",), refused.detail)]
    return []
