"""One thing that was looked at, and what came of it."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Verdict(StrEnum):
    """How it is."""

    GOOD = "good"
    LOOK = "look"
    """It works, but a person should know."""
    BAD = "bad"
    """It does not work, or soon will not."""


@dataclass(frozen=True, slots=True)
class Finding:
    """What was looked at, how it is, and what to do; the fix is empty only where all is well."""

    what: str
    verdict: Verdict
    text: str
    fix: str = ""


def good(what: str, text: str) -> Finding:
    """All is well."""
    return Finding(what, Verdict.GOOD, text)


def look(what: str, text: str, fix: str) -> Finding:
    """Worth knowing."""
    return Finding(what, Verdict.LOOK, text, fix)


def bad(what: str, text: str, fix: str) -> Finding:
    """To be put right."""
    return Finding(what, Verdict.BAD, text, fix)
