"""A small part of what `tests/benchmarks/crashes.py` shows on the whole scale: killed again and again, it comes back disarmed."""

import subprocess
import sys
from pathlib import Path

import pytest

TOP = Path(__file__).parents[2]

pytestmark = pytest.mark.slow


def test_killed_at_any_instant_of_start_and_work_it_comes_back_disarmed_with_all_it_had_acknowledged() -> None:
    command = [sys.executable, "tests/benchmarks/crashes.py", "--forks", "20", "--processes", "2", "--check"]
    done = subprocess.run(command, cwd=TOP, capture_output=True, text=True, check=False, timeout=250)
    assert done.returncode == 0, done.stdout + done.stderr
    assert "2 process, SIGKILL" in done.stdout
