"""The units as they will lie on a board: in order, and as closed as is promised. systemd's own tools judge."""

import re
import subprocess
from pathlib import Path

import pytest

DEPLOY = Path(__file__).parents[2] / "deploy"
UNITS = Path("etc/systemd/system")


@pytest.fixture
def root(tmp_path: Path) -> Path:
    """A system with our units in it, and a program where they start one."""
    (tmp_path / UNITS / "geartender.service.d").mkdir(parents=True)
    for unit in ("geartender.service", "geartender-clock.service", "geartender.socket"):
        (tmp_path / UNITS / unit).write_bytes((DEPLOY / unit).read_bytes())
    return tmp_path


def with_socket(root: Path) -> None:
    target = root / UNITS / "geartender.service.d/socket.conf"
    target.write_bytes((DEPLOY / "geartender-socket.conf").read_bytes())


def exposure(root: Path, unit: str, at_most: float) -> subprocess.CompletedProcess[str]:
    """systemd's verdict: 0 unless the exposure, of 10, is above the threshold."""
    threshold = f"--threshold={round(at_most * 10)}"
    command = ["systemd-analyze", "security", "--offline=true", f"--root={root}", threshold, "--no-pager", unit]
    return subprocess.run(command, capture_output=True, text=True, check=False)


def test_the_service_is_exposed_by_one_and_a_half_at_most(root: Path) -> None:
    judged = exposure(root, "geartender.service", 1.5)
    assert judged.returncode == 0, judged.stdout + judged.stderr


def test_with_its_socket_handed_in_it_is_exposed_by_a_half_at_most(root: Path) -> None:
    with_socket(root)
    judged = exposure(root, "geartender.service", 0.5)
    assert judged.returncode == 0, judged.stdout + judged.stderr


def test_the_readme_tells_the_figures_that_are_measured(root: Path) -> None:
    told = re.findall(
        r"(\d\.\d) of 10|no network at all \((\d\.\d)\)", " ".join((DEPLOY.parent / "README.md").read_text().split())
    )
    measured = []
    for prepare in (lambda _: None, with_socket):
        prepare(root)
        measured += re.findall(r"geartender\.service: (\d\.\d)", exposure(root, "geartender.service", 10).stdout)
    assert [plain or handed_in for plain, handed_in in told] == measured


def test_an_open_service_would_be_found_out(root: Path) -> None:
    unit = root / UNITS / "geartender.service"
    unit.write_text(
        re.sub(r"^(Protect|Private|Restrict|Capability|SystemCall)\w*=.*\n", "", unit.read_text(), flags=re.MULTILINE)
    )
    assert exposure(root, "geartender.service", 1.5).returncode != 0


@pytest.mark.parametrize("variant", ["plain", "socket"])
def test_systemd_finds_nothing_wrong_with_the_units(root: Path, variant: str) -> None:
    program = root / "bin/true"
    program.parent.mkdir()
    program.write_text("#!/bin/sh\n")
    program.chmod(0o755)
    for unit in (root / UNITS).glob("*.service"):
        # What they start is not on this machine.
        unit.write_text(re.sub(r"^ExecStart=\S+", f"ExecStart={program}", unit.read_text(), flags=re.MULTILINE))
    if variant == "socket":
        with_socket(root)
    names = ["geartender.service", "geartender-clock.service", *(["geartender.socket"] if variant == "socket" else [])]
    verified = subprocess.run(
        ["systemd-analyze", "verify", "--man=no", "--recursive-errors=no", *(root / UNITS / name for name in names)],
        capture_output=True,
        text=True,
        check=False,
    )
    assert (verified.returncode, verified.stderr) == (0, "")


@pytest.mark.parametrize(
    "line",
    [
        "Type=notify",
        "Restart=always",
        "RestartSec=5",
        "WatchdogSec=30",
        "StartLimitIntervalSec=0",
        "User=geartender",
        "DeviceAllow=char-ttyACM rw",
        "DeviceAllow=char-ttyUSB rw",
    ],
)
def test_the_service_is_started_and_watched_as_promised(line: str) -> None:
    assert f"\n{line}\n" in (DEPLOY / "geartender.service").read_text()


def test_it_may_not_see_no_device_at_all() -> None:
    assert "PrivateDevices" not in (DEPLOY / "geartender.service").read_text()


def test_drivers_are_there_before_their_group_of_devices_is_let_through() -> None:
    text = (DEPLOY / "geartender.service").read_text()
    for word in ("Wants", "After"):
        (line,) = re.findall(rf"^{word}=.*$", text, re.MULTILINE)
        assert {"modprobe@cdc_acm.service", "modprobe@usbserial.service"} <= set(line.split("=", 1)[1].split())
