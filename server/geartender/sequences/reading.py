"""Reads documents: from JSON values to a checked model, or to every mistake with its place."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import pairwise
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from geartender.errors import DocumentError, Mistake
from geartender.mistakes import Step, mistakes_from, path_of, pointer_of
from geartender.sequences import model

DEPTH_MAX = 40
"""Levels of lists and tables in a document: more than the deepest that may be saved, and few enough to read at all."""

M = TypeVar("M", bound=BaseModel)

STEPS: dict[str, type[BaseModel]] = {
    "home": model.HomeStep,
    "move": model.MoveStep,
    "turn": model.TurnStep,
    "wait": model.WaitStep,
    "repeat": model.RepeatStep,
    "run": model.RunStep,
    "together": model.TogetherStep,
    "check": model.CheckStep,
}


def parse_sequence(document: object) -> model.Sequence:
    """A sequence from a JSON value. Raises DocumentError with every mistake in it."""
    return read_document(model.Sequence, document, "sequence")


def sequence_document(sequence: model.Sequence) -> dict[str, Any]:
    """The sequence as a JSON value with only what was written into it."""
    return sequence.model_dump(mode="json", exclude_unset=True, exclude_none=True)


def read_document(kind: type[M], document: object, what: str) -> M:
    """A document of some kind from a JSON value. Raises DocumentError with every mistake in it."""
    if too_deep(document):
        raise DocumentError(
            what, [mistake_at((), f"is nested more than {DEPTH_MAX} levels deep; put steps side by side")]
        )
    try:
        return kind.model_validate(document)
    except ValidationError as error:
        raise DocumentError(what, mistakes_from(_placed(error), lambda where: _names_at(where, kind))) from None


def read_stored(kind: type[M], document: object) -> M | None:
    """A document that was stored, or None where this version cannot read it: it was checked by another."""
    try:
        return read_document(kind, document, "document")
    except DocumentError:
        return None


def mistake_at(at: Sequence[Step], text: str) -> Mistake:
    """A mistake at a place."""
    return Mistake(path_of(at), pointer_of(at), text)


def too_deep(document: object) -> bool:
    """Whether a JSON value is nested deeper than any document."""
    level: list[object] = [document]
    for _ in range(DEPTH_MAX):
        level = [inner for outer in level for inner in _inside(outer)]
        if not level:
            return False
    return True


def _inside(value: object) -> Iterable[object]:
    if isinstance(value, dict):
        return value.values()
    return value if isinstance(value, list) else ()


def _placed(error: ValidationError) -> Iterator[dict[str, Any]]:
    """The errors with places as they are in the document: without the kinds by which the right model was chosen."""
    for found in error.errors(include_url=False):
        steps = found["loc"]
        place = tuple(step for before, step in pairwise((None, *steps)) if not _is_kind(before, step))
        if not found["type"].startswith("union_tag"):
            yield {**found, "loc": place}
        else:
            missing = found["type"] == "union_tag_not_found"
            text = ("is missing; say one of " if missing else "should be one of ") + ", ".join(STEPS)
            yield {**found, "loc": (*place, "do"), "msg": text}


def _is_kind(before: Step | None, step: Step | None) -> bool:
    return isinstance(step, str) and (step.startswith(model.AS) or (isinstance(before, int) and step in STEPS))


def _names_at(where: Sequence[Step], kind: type[BaseModel]) -> Iterable[str]:
    """Fields that may stand at a place, for the hint of an unknown one."""
    if where and isinstance(where[-1], int):
        return {name for step in STEPS.values() for name in step.model_fields}
    return kind.model_fields
