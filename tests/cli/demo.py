"""A real `geartender demo` on a free port, and commands sent to it as a person would."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

COMMAND = [str(Path(sys.executable).with_name("geartender"))]


@dataclass
class Demo:
    """A running demo and its address."""

    process: subprocess.Popen[str]
    url: str

    def environment(self) -> dict[str, str]:
        return {**os.environ, "GEARTENDER_URL": self.url, "NO_COLOR": "1"}

    def run(self, *arguments: str) -> subprocess.CompletedProcess[str]:
        """Run a command against this demo to its end."""
        return subprocess.run(
            [*COMMAND, *arguments], env=self.environment(), capture_output=True, text=True, timeout=60, check=False
        )

    @contextmanager
    def begun(self, *arguments: str, before: Sequence[str] = ()) -> Iterator[subprocess.Popen[str]]:
        """A command that runs on beside the test, for what happens in its midst; `before` starts it in another way."""
        with subprocess.Popen(
            [*before, *COMMAND, *arguments],
            env=self.environment(),
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        ) as process:
            try:
                yield process
            finally:
                process.kill()


def favour(pid: int) -> None:
    """Give the sessions of the service and of its simulated hardware more of the processor than the tests, where that is allowed."""
    children = Path(f"/proc/{pid}/task/{pid}/children").read_text().split()
    for session in (str(pid), *children):
        with suppress(OSError):
            Path(f"/proc/{session}/autogroup").write_text("-10")


@contextmanager
def demo(*arguments: str) -> Iterator[Demo]:
    """A demo, from the moment its page answers; ended by SIGTERM, and then every process of it is gone."""
    # In a session of its own: Linux shares the processor out by session (sched_autogroup), and the service must not starve among the
    # tests beside it. Held up for 250 ms it is silent to the firmware, which then disarms, as it should.
    process = subprocess.Popen(
        [*COMMAND, "demo", "--port", "0", *arguments],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )
    try:
        assert process.stdout is not None
        url = process.stdout.readline().strip()
        if not url:
            raise AssertionError(f"the demo did not start: {process.communicate()[1]}")
        favour(process.pid)
        yield Demo(process, url.rstrip("/"))
    finally:
        if process.poll() is None:
            process.send_signal(signal.SIGTERM)
        process.communicate(timeout=15)
