import pytest

from geartender.cli.terminal import exit_code
from geartender.errors import (
    Disarmed,
    Faulted,
    GeartenderError,
    InstallError,
    NoAnswer,
    NotDone,
    RunNotDone,
    RunStoppedItself,
    StoppedItself,
    TookTooLong,
    TwoBoards,
    Unreachable,
)

REPORT = {"kind": "move", "state": "stopped", "reason": None}
RUN = {"sequence": "air", "state": "faulted", "reason": "too much torque"}


@pytest.mark.parametrize(
    ("error", "code"),
    [
        (NotDone(REPORT), 1),
        (GeartenderError("x"), 1),
        (Unreachable("x"), 3),
        (Disarmed("x"), 4),
        (TookTooLong("x"), 5),
        (InstallError("x"), 1),
        (TwoBoards(["a", "b"]), 2),
        (NoAnswer("x"), 5),
        (Faulted("x"), 6),
        (StoppedItself(REPORT), 6),
        (RunNotDone(RUN), 1),
        (RunStoppedItself(RUN), 6),
    ],
)
def test_each_end_has_its_exit_code(error: GeartenderError, code: int) -> None:
    assert exit_code(error) == code
