"""The whole life on a board, under a real service manager: `python tests/benchmarks/board.py [--work DIR]`, as root.

Makes a Debian of its own with debootstrap, starts it with systemd-nspawn, and installs, drives, kills, hangs, updates, breaks and
takes off the service in there. Needs the packages debootstrap and systemd-container, a network for the first run, about 500 MB
and four minutes. Prints a line for each step; ends with 1 if one failed.
"""

from __future__ import annotations

import argparse
import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

TOP = Path(__file__).parents[2]
sys.path.insert(0, str(TOP))

from tests.deploy.wheels import another_version, build_wheel  # noqa: E402

MIRROR = "http://deb.debian.org/debian"
SUITE = "bookworm"
PACKAGES = "systemd,systemd-sysv,udev,dbus,python3,python3-venv"
AT_MOST_S = 900

UNIT = """[Unit]
After=multi-user.target
[Service]
Type=oneshot
Environment=PIP_NO_INDEX=1 PIP_FIND_LINKS=/geartender/wheels
ExecStart=/usr/bin/python3 /geartender/inside.py
ExecStopPost=/bin/systemctl poweroff
StandardOutput=append:/geartender/log
StandardError=append:/geartender/log
"""


def clean_root(work: Path) -> Path:
    """A Debian that nothing was installed in yet; made once, and copied for each run."""
    made, root = work / "debian", work / "root"
    if not (made / "complete").exists():
        shutil.rmtree(made, ignore_errors=True)
        subprocess.run(["debootstrap", "--variant=minbase", f"--include={PACKAGES}", SUITE, made, MIRROR], check=True)
        (made / "complete").touch()
    shutil.rmtree(root, ignore_errors=True)
    subprocess.run(["cp", "-a", "--reflink=auto", made, root], check=True)
    return root


def furnish(root: Path, work: Path) -> None:
    """Put in what is installed and what tries it."""
    place = root / "geartender"
    place.mkdir()
    shutil.copytree(TOP / "deploy", place / "deploy")
    with tempfile.TemporaryDirectory() as folder:
        good = build_wheel(Path(folder))
        broken = another_version(good, "0.1.99", {"geartender/api/app.py": "\nraise SystemExit('broken on purpose')\n"})
        for wheel in (good, broken):
            shutil.copy(wheel, place / wheel.name)
        (place / "good.whl").symlink_to(good.name)
        (place / "broken.whl").symlink_to(broken.name)
    wheels = work / "wheels"
    subprocess.run(
        [
            sys.executable,
            "-m",
            "pip",
            "download",
            "-q",
            "--no-deps",
            "--require-hashes",
            "-d",
            wheels,
            "-r",
            TOP / "deploy/service.lock",
        ],
        check=True,
    )
    shutil.copytree(wheels, place / "wheels")
    shutil.copy(Path(__file__).with_name("board_inside.py"), place / "inside.py")
    units = root / "etc/systemd/system"
    (units / "try.service").write_text(UNIT)
    (units / "multi-user.target.wants").mkdir(exist_ok=True)
    (units / "multi-user.target.wants/try.service").symlink_to("/etc/systemd/system/try.service")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument(
        "--work", type=Path, default=Path(tempfile.gettempdir()) / "geartender-board", help="a folder of its own"
    )
    work: Path = parser.parse_args().work
    work.mkdir(parents=True, exist_ok=True)
    if os.geteuid():
        parser.error("run it as root: it starts a system")
    root = clean_root(work)
    furnish(root, work)
    nspawn = [
        "systemd-nspawn",
        "--quiet",
        "--register=no",
        "--keep-unit",
        "--boot",
        f"--directory={root}",
        "--console=pipe",
    ]
    subprocess.run(nspawn, check=False, timeout=AT_MOST_S, stdin=subprocess.DEVNULL, capture_output=True)
    results = root / "geartender/results"
    said = results.read_text() if results.exists() else (root / "geartender/log").read_text()
    print(said, end="")
    total = said.splitlines()[-1].split(" of ")
    sys.exit(len(total) != 2 or total[0] != total[1])


if __name__ == "__main__":
    main()
