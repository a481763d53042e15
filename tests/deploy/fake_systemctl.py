"""Stands for systemctl where no system runs: starts what the unit says, and waits for READY as `Type=notify` does.

What only changes links in a folder (enable, disable, is-enabled) is left to the real one. The first argument is the real one.
"""

from __future__ import annotations

import os
import re
import signal
import socket
import subprocess
import sys
import tempfile
import time
from contextlib import suppress
from pathlib import Path

START_S = 30.0
UNIT = "etc/systemd/system/geartender.service"


def alive(pid_file: Path) -> int | None:
    try:
        pid = int(pid_file.read_text())
        os.kill(pid, 0)
    except (OSError, ValueError):
        return None
    # A child of nobody is left as a zombie where nothing collects it.
    state = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0]
    return None if state == "Z" else pid


def start(root: Path, pid_file: Path) -> int:
    (command,) = re.findall(r"^ExecStart=(.*)$", (root / UNIT).read_text(), re.MULTILINE)
    program, *arguments = (f"{root}{word}" if word.startswith("/") else word for word in command.split())
    python = Path(program).with_name("python")
    with tempfile.TemporaryDirectory() as folder, socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as heard:
        heard.bind(f"{folder}/notify")
        heard.settimeout(0.1)
        with (root / "journal").open("a") as journal:
            process = subprocess.Popen(
                [python, "-m", "geartender.cli.main", *arguments],
                env={**os.environ, "NOTIFY_SOCKET": f"{folder}/notify"},
                stdout=journal,
                stderr=journal,
                start_new_session=True,
            )
        pid_file.write_text(str(process.pid))
        end = time.monotonic() + START_S
        while process.poll() is None and time.monotonic() < end:
            with suppress(TimeoutError):
                if "READY=1" in heard.recv(1000).decode().split():
                    return 0
    return 1


def stop(pid_file: Path) -> int:
    pid = alive(pid_file)
    if pid is not None:
        os.kill(pid, signal.SIGTERM)
    while alive(pid_file):
        time.sleep(0.02)
    return 0


def main() -> int:
    real, *words = sys.argv[1:]
    root = next((Path(word.removeprefix("--root=")) for word in words if word.startswith("--root=")), Path("/"))
    verb = next(word for word in words if not word.startswith("-"))
    pid_file = root / "pid"
    match verb:
        case "start":
            return 0 if alive(pid_file) else start(root, pid_file)
        case "stop":
            return stop(pid_file)
        case "is-active":
            return 0 if alive(pid_file) else 3
        case "daemon-reload":
            return 0
        case _:
            return subprocess.run([real, *words], check=False).returncode


if __name__ == "__main__":
    sys.exit(main())
