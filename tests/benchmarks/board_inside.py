"""What is tried inside the system that `board.py` starts, under its own service manager. Standard library only; one line a result."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
import traceback
import urllib.request
from collections.abc import Callable
from pathlib import Path

INSTALL = "/geartender/deploy/install.sh"
GOOD, BROKEN = "/geartender/good.whl", "/geartender/broken.whl"
CONFIG = Path("/etc/geartender/geartender.toml")
DATA = Path("/var/lib/geartender")
UNIT = "geartender.service"
HEALTH = "http://127.0.0.1:8350/healthz"
RESTART_S = 5 + 15
"""s: RestartSec of the unit, and a start on a slow machine."""
WATCHDOG_S = 30 + RESTART_S

SIMULATOR = """[Service]
ExecStart=/opt/geartender/current/bin/geartender simulate --link /run/sim/vent --build /etc/geartender/vent.toml
ExecStartPost=/bin/sh -c 'until [ -e /run/sim/vent ]; do sleep 0.1; done; chgrp dialout $(readlink -f /run/sim/vent); chmod 660 $(readlink -f /run/sim/vent)'
RuntimeDirectory=sim
StandardInput=file:/dev/zero
"""
SERVO = '\n[[servo]]\nname = "vent"\nport = "/run/sim/vent"\nbuild = "vent.toml"\n'


def run(*command: str, check: bool = True) -> str:
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if check and done.returncode:
        raise AssertionError(f"{' '.join(command)}: {done.returncode}\n{done.stdout}{done.stderr}")
    return done.stdout + done.stderr


def show(name: str, unit: str = UNIT) -> str:
    return run("systemctl", "show", "--value", f"--property={name}", unit).strip()


def health() -> dict[str, object]:
    """What it says of itself to those it knows, here by the key that it leaves for commands of its machine."""
    key = json.loads((DATA / "machine.json").read_text())["key"]
    request = urllib.request.Request(HEALTH, headers={"Authorization": f"Bearer {key}"})
    return json.load(urllib.request.urlopen(request, timeout=5))  # noqa: S310 - our own service


def until(done: Callable[[], bool], within_s: float) -> float:
    began = time.monotonic()
    while True:
        try:
            if done():
                return time.monotonic() - began
        except OSError:
            pass
        assert time.monotonic() - began < within_s, run("journalctl", "-u", UNIT, "-n", "30", "--no-pager")
        time.sleep(0.1)


def ready() -> bool:
    said = health()
    return said["ready"] is True and said["servos"] == {"vent": "disarmed"}


def tree() -> str:
    return run("find", "/etc", "/opt", "/usr/local", "/var/lib/geartender", "-printf", r"%p %M %U %G %s %T@ %l\n")


def drive() -> None:
    for words in (("arm",), ("home",), ("move", "20")):
        run("geartender", *words)


def installs_in_a_clean_system() -> str:
    said = run(INSTALL, "--wheel", GOOD)
    assert "Fill in /etc/geartender/geartender.toml" in said, said
    assert show("UnitFileState") == "enabled"
    return "said what to fill in, enabled, not started"


def runs_once_it_is_filled_in() -> str:
    (CONFIG.parent / "vent.toml").write_bytes(
        next(
            Path("/opt/geartender/current/lib").glob("python3*/site-packages/geartender/build/ridge_vent.toml")
        ).read_bytes()
    )
    CONFIG.write_text(CONFIG.read_text() + SERVO)
    Path("/etc/systemd/system/sim.service").write_text(SIMULATOR)
    Path("/run/systemd/system/geartender.service.d").mkdir(parents=True)
    # The simulated board is a pseudo-terminal; a real one is let through by the unit as it is.
    Path("/run/systemd/system/geartender.service.d/pty.conf").write_text("[Service]\nDeviceAllow=char-pts rw\n")
    run("systemctl", "daemon-reload")
    run("systemctl", "start", "sim.service")
    began = time.monotonic()
    run("systemctl", "start", UNIT)
    started = time.monotonic() - began
    until(ready, 20)
    made = run("geartender", "keys", "add", "script", "--role", "drive", "--config", str(CONFIG), "--json")
    os.environ["GEARTENDER_KEY"] = json.loads(made)["key"]
    drive()
    said = run("journalctl", "-u", UNIT, "--no-pager", "-o", "cat")
    assert "sudo geartender pair --role manage" in said, said
    assert "#pair=" not in said
    return f"READY after {started:.1f} s, homed and moved through the sandbox as user {show('User')}"


def a_second_run_changes_nothing() -> str:
    before, pid = tree(), show("MainPID")
    run(INSTALL, "--wheel", GOOD)
    assert tree() == before
    assert show("MainPID") == pid
    return "files, rights, times and the process are the same"


def comes_back_after_a_kill() -> str:
    pid = show("MainPID")
    os.kill(int(pid), signal.SIGKILL)
    took = until(lambda: show("MainPID") not in ("0", pid) and ready(), RESTART_S)
    assert health()["servos"] == {"vent": "disarmed"}, health()
    return f"ready again after {took:.1f} s, disarmed"


def ends_in_good_time() -> str:
    began = time.monotonic()
    run("systemctl", "stop", UNIT)
    took = time.monotonic() - began
    assert show("Result") == "success", show("Result")
    run("systemctl", "start", UNIT)
    until(ready, RESTART_S)
    return f"stopped after {took:.1f} s"


def the_watchdog_ends_what_hangs() -> str:
    pid = show("MainPID")
    os.kill(int(pid), signal.SIGSTOP)
    took = until(lambda: show("MainPID") not in ("0", pid) and ready(), WATCHDOG_S + 10)
    return f"stood still; killed and ready again after {took:.1f} s"


def the_sandbox_holds() -> str:
    pid = show("MainPID")
    status = Path(f"/proc/{pid}/status").read_text()
    fields = dict(line.split(":\t") for line in status.splitlines() if ":\t" in line)
    assert fields["NoNewPrivs"] == "1"
    assert fields["Seccomp"] == "2"
    assert int(fields["CapEff"], 16) == int(fields["CapBnd"], 16) == 0
    assert os.getpriority(os.PRIO_PROCESS, int(pid)) == -10
    return "no capabilities, system calls filtered, nice -10"


def a_broken_version_goes_back() -> str:
    old = str(Path("/opt/geartender/current").readlink())
    before = (DATA / "geartender.db").stat().st_size
    said = run(INSTALL, "--wheel", BROKEN, check=False)
    assert "going back" in said, said
    assert "runs again" in said, said
    assert str(Path("/opt/geartender/current").readlink()) == old
    until(ready, 20)
    assert (DATA / "geartender.db").stat().st_size >= before
    return f"{old} runs again with its data"


def the_socket_variant_works() -> str:
    run(INSTALL, "--wheel", GOOD, "--socket")
    until(ready, 20)
    network = [str(Path(f"/proc/{pid}/ns/net").readlink()) for pid in ("1", show("MainPID"))]
    assert network[0] != network[1]
    score = run("systemd-analyze", "security", UNIT, check=False).splitlines()[-1]
    return f"answers from a network namespace of its own; {score.split('level for ')[1]}"


def uninstalls() -> str:
    run(INSTALL, "--uninstall")
    left = run(
        "find", "/etc", "/opt", "/usr", "/var", "/run/systemd", "-iname", "*geartender*", "-not", "-path", "/var/log/*"
    )
    assert set(left.split()) - {"/run/systemd/system/geartender.service.d"} == {
        "/var/lib/geartender",
        "/var/lib/geartender/geartender.db",
        "/var/lib/geartender/geartender.db.lock",
        "/var/lib/geartender/geartender.db.ballast",
        "/var/lib/geartender/configuration/geartender.toml",
        "/var/lib/geartender/before-update/geartender.db",
        "/var/lib/geartender/before-update/geartender.db.lock",
        "/var/lib/geartender/failed-update/geartender.db",
        "/var/lib/geartender/failed-update/geartender.db.lock",
    } & set(left.split()), left
    assert "geartender" not in Path("/etc/passwd").read_text()
    return "nothing is left but /var/lib/geartender"


def comes_back_from_what_was_left() -> str:
    run(INSTALL, "--wheel", GOOD)
    until(ready, 30)
    entries = json.loads(run("geartender", "status", "--json"))
    return f"configuration and data are in force again; {entries['state']}"


STEPS = (
    installs_in_a_clean_system,
    runs_once_it_is_filled_in,
    a_second_run_changes_nothing,
    the_sandbox_holds,
    comes_back_after_a_kill,
    ends_in_good_time,
    the_watchdog_ends_what_hangs,
    a_broken_version_goes_back,
    the_socket_variant_works,
    uninstalls,
    comes_back_from_what_was_left,
)


def main() -> None:
    failed = 0
    with Path("/geartender/results").open("w", buffering=1) as out:
        for step in STEPS:
            began = time.monotonic()
            try:
                said = step()
                verdict = "ok"
            except Exception:  # noqa: BLE001 - written down, and the next step tried
                failed += 1
                verdict, said = "FAILED", traceback.format_exc()
            print(f"{verdict:6} {time.monotonic() - began:6.1f} s  {step.__name__.replace('_', ' ')}: {said}", file=out)
        print(f"{len(STEPS) - failed} of {len(STEPS)}", file=out)
    sys.exit(failed > 0)


if __name__ == "__main__":
    main()
