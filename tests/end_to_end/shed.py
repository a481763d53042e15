"""The shed: a simulated servo and a service as processes of their own, joined by a real pseudo-terminal, driven over HTTP."""

from __future__ import annotations

import csv
import json
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import httpx

import geartender.build

COMMAND = str(Path(sys.executable).with_name("geartender"))
VENT = Path(geartender.build.__file__).with_name("ridge_vent.toml")
START_S = 30.0
"""Long enough for a busy machine; a test that waits so long fails for another reason."""


def made_key(config: Path, role: str) -> str:
    """A key for the service of that configuration, as its owner would make it."""
    made = subprocess.run(
        [COMMAND, "keys", "add", "the tests", "--role", role, "--config", str(config), "--json"],
        capture_output=True,
        text=True,
        timeout=START_S,
        check=True,
    )
    return str(json.loads(made.stdout)["key"])


class Shed:
    """One servo, one service. `truth` is what the mechanics wrote down."""

    def __init__(self, folder: Path, build: Path = VENT, extra: tuple[str, ...] = ()) -> None:
        self.folder = folder
        self.link = folder / "servo-port"
        self.truth_file = folder / "truth.csv"
        self.config = folder / "service.toml"
        self.config.write_text(
            f'[service]\nport = 0\ndata_dir = "{folder / "data"}"\n\n'
            f'[[servo]]\nname = "vent"\nport = "{self.link}"\nbuild = "{build}"\n'
        )
        self.servo = subprocess.Popen(
            [
                COMMAND,
                "simulate",
                "--link",
                str(self.link),
                "--build",
                str(build),
                "--truth",
                str(self.truth_file),
                *extra,
            ],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )
        assert self.servo.stdout is not None
        assert "ready" in self.servo.stdout.readline()
        self.service: subprocess.Popen[str] | None = None
        self.key = made_key(self.config, "manage")
        self.http = httpx.Client(timeout=20.0, headers={"Authorization": f"Bearer {self.key}"})
        self.url = ""

    def start(self) -> None:
        """Start the service and wait until it has its servo."""
        self.service = subprocess.Popen(
            [COMMAND, "serve", "--config", str(self.config)], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
        )
        assert self.service.stdout is not None
        self.url = self.service.stdout.readline().strip().rstrip("/")
        assert self.url, self.service.communicate()[1]
        self.url += "/api/v1/servos/vent"
        self.until(lambda: self.snapshot()["state"] != "offline")

    def strike(self, number: int) -> None:
        """Send the service a signal."""
        assert self.service is not None
        self.service.send_signal(number)

    def end_service(self, number: int = signal.SIGKILL) -> None:
        """End the service."""
        if self.service is not None:
            self.strike(number)
            self.service.communicate(timeout=START_S)
            self.service = None

    def close(self) -> None:
        """End both."""
        self.end_service()
        self.servo.kill()
        self.servo.communicate()
        self.http.close()

    # --- asking

    def snapshot(self) -> dict[str, Any]:
        """The servo as the service sees it."""
        answer: dict[str, Any] = self.http.get(self.url).raise_for_status().json()
        return answer

    def post(self, path: str, body: dict[str, Any] | None = None, wait: int | None = None) -> httpx.Response:
        """A command; `wait` seconds for its end."""
        headers = {} if wait is None else {"Prefer": f"wait={wait}"}
        return self.http.post(self.url + path, json=body, headers=headers)

    def ready(self) -> None:
        """Armed and homed."""
        assert self.post("/arm").status_code == 200
        motion = self.post("/home", wait=20).json()
        assert motion["state"] == "done", motion

    def command(self, text: str) -> dict[str, Any]:
        """A fault command to the simulated servo; its answer."""
        assert self.servo.stdin is not None
        assert self.servo.stdout is not None
        self.servo.stdin.write(text + "\n")
        self.servo.stdin.flush()
        answer: dict[str, Any] = json.loads(self.servo.stdout.readline())
        return answer

    def truth(self) -> dict[str, Any]:
        """What really happens now."""
        return self.command("truth")

    def until(self, condition: Callable[[], bool], seconds: float = START_S) -> None:
        """Look again and again until something holds."""
        end = time.monotonic() + seconds
        while not condition():
            assert time.monotonic() < end, f"it did not come about: {self.snapshot()}"
            time.sleep(0.01)

    def rows(self) -> list[dict[str, float]]:
        """The truth file so far, whole lines only."""
        text = self.truth_file.read_text()
        lines = text[: text.rfind("\n") + 1].splitlines()
        return [{name: float(value) for name, value in row.items()} for row in csv.DictReader(lines)]


@contextmanager
def shed(folder: Path, build: Path = VENT, *extra: str) -> Iterator[Shed]:
    """A shed with its service running."""
    made = Shed(folder, build, extra)
    try:
        made.start()
        yield made
    finally:
        made.close()
