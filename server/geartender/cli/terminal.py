"""Results on stdout, everything else on stderr, and what each error means as an exit code."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from typing import Any, NoReturn

from geartender.errors import (
    BenchStoppedItself,
    GeartenderError,
    NoAnswer,
    Refused,
    RunStoppedItself,
    StoppedItself,
    TookTooLong,
    TwoBoards,
    Unreachable,
)

DONE, FAILED, USAGE, UNREACHABLE, REFUSED, TIMED_OUT, FAULTED, INTERRUPTED = 0, 1, 2, 3, 4, 5, 6, 130


def result(value: Any, as_json: bool, text: Callable[[Any], str]) -> None:
    """Print a result: one JSON object, or the text for it."""
    print(json.dumps(value, allow_nan=False) if as_json else text(value))


def say(text: str) -> None:
    """Print what is not the result."""
    print(text, file=sys.stderr, flush=True)


def stop_with(text: str, code: int) -> NoReturn:
    """End the command with a message and an exit code."""
    say(text)
    raise SystemExit(code)


def exit_code(error: GeartenderError) -> int:
    """The exit code for an error."""
    match error:
        case Unreachable():
            return UNREACHABLE
        case Refused(slug="faulted") | StoppedItself() | RunStoppedItself() | BenchStoppedItself():
            return FAULTED
        case Refused():
            return REFUSED
        case TwoBoards():
            return USAGE
        case TookTooLong() | NoAnswer():
            return TIMED_OUT
        case _:
            return FAILED


def explain(error: GeartenderError) -> str:
    """An error in plain words, one line for each mistake."""
    if isinstance(error, Refused):
        from geartender.client.problems import lines_of

        return "\n".join(lines_of(error))
    return str(error)
