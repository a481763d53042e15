"""What talks to the firmware goes first, where the system allows it, and runs as it is where it does not."""

import os
import subprocess
import sys

import pytest

from geartender.priority import NICE, SESSION

SCRIPT = """
import os
from geartender.priority import SESSION, go_first
go_first()
print(os.getpriority(os.PRIO_PROCESS, 0), SESSION.read_text().split()[-1] if SESSION.exists() else "none")
"""


def went_first(*, leader: bool) -> list[str]:
    """Niceness of a process that asked to go first, and of its session."""
    done = subprocess.run(
        [sys.executable, "-c", SCRIPT], check=True, capture_output=True, text=True, start_new_session=leader
    )
    return done.stdout.split()


def test_it_runs_as_it_is_where_it_may_not_go_first() -> None:
    assert len(went_first(leader=True)) == 2


@pytest.mark.skipif(os.geteuid() != 0, reason="only root may go first")
def test_a_process_goes_first_and_takes_its_own_session_along_but_nobody_elses() -> None:
    before = SESSION.read_text().split()[-1] if SESSION.exists() else "none"
    assert went_first(leader=True) == [str(NICE), str(NICE) if SESSION.exists() else "none"]
    assert went_first(leader=False) == [str(NICE), before]
