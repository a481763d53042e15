"""From what the validation library found to mistakes in plain words: where, what, and what to do. Pure."""

from __future__ import annotations

import difflib
from collections.abc import Callable, Iterable, Sequence
from typing import Any

from geartender.errors import Mistake

Step = str | int

KnownNames = Callable[[Sequence[Step]], Iterable[str]]
"""Gives the names that may stand at a place, for the hint of an unknown one."""


def no_names(_: Sequence[Step]) -> Iterable[str]:
    """Nothing is known of the names: unknown ones get no suggestion."""
    return ()


def mistakes_from(errors: Iterable[Any], names: KnownNames = no_names) -> tuple[Mistake, ...]:
    """One mistake for each error of a pydantic ValidationError; what was put in is never repeated."""
    return tuple(_mistake(tuple(error["loc"]), error, names) for error in errors)


def _mistake(where: Sequence[Step], error: Any, names: KnownNames) -> Mistake:
    return Mistake(path_of(where), pointer_of(where), _text(where, error, names))


def path_of(where: Sequence[Step]) -> str:
    """As a person writes it: `servo[0].port`."""
    return "".join(f"[{step}]" if isinstance(step, int) else f".{step}" for step in where).removeprefix(".")


def pointer_of(where: Sequence[Step]) -> str:
    """JSON Pointer in URI fragment form (RFC 6901 section 6)."""
    return "#" + "".join("/" + str(step).replace("~", "~0").replace("/", "~1") for step in where)


def _text(where: Sequence[Step], error: Any, names: KnownNames) -> str:
    if error["type"] == "missing":
        return "is missing"
    if error["type"] == "extra_forbidden":
        return f"there is no such field; {_suggestion(str(where[-1]), names(where[:-1]))}"
    text = str(error["msg"]).removeprefix("Value error, ")
    return text.replace("Input should be", "should be", 1) if text.startswith("Input should be") else text


def _suggestion(wrong: str, known: Iterable[str]) -> str:
    near = difflib.get_close_matches(wrong, list(known), n=1)
    return f"do you mean {near[0]}?" if near else "check its spelling and its unit"
