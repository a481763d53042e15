"""The commands against a real demo: firmware, serial line and service included."""

import json
import os
import signal
import subprocess
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import httpx
import pytest

from geartender.client import Client, RemoteServo
from tests.cli.demo import COMMAND, Demo, demo


@pytest.fixture(scope="module")
def running() -> Iterator[Demo]:
    with demo("--seed", "7") as one, Client(one.url, name="watching") as client:
        until(lambda: client.servo("vent").status()["state"] == "disarmed")
        yield one


@pytest.fixture(scope="module")
def vent(running: Demo) -> Iterator[RemoteServo]:
    """The servo as somebody else sees it who only watches."""
    with Client(running.url, name="watching") as client:
        yield client.servo("vent")


def until(done: Callable[[], bool], within_s: float = 20.0) -> None:
    """Look again and again until it is so; these are real processes in real time."""
    end = time.monotonic() + within_s
    while not done():
        assert time.monotonic() < end, "in vain"
        time.sleep(0.02)


def moves(vent: RemoteServo, command: subprocess.Popen[str]) -> None:
    """Wait until the lever moves for this command."""

    def so_far() -> bool:
        assert command.poll() is None, f"the command ended instead: {command.communicate()}"
        return (vent.status()["speed_deg_s"] or 0) > 2

    until(so_far)


@pytest.fixture
def homed(running: Demo, vent: RemoteServo) -> Demo:
    running.run("reset")
    assert running.run("arm").returncode == 0
    if not vent.status()["homed"]:
        assert running.run("home").returncode == 0
    return running


def test_a_day_in_the_life(running: Demo) -> None:
    assert running.run("status").stdout.startswith("vent: ")
    refused = running.run("move", "10")
    assert (refused.returncode, refused.stdout) == (4, "")
    assert "arm" in refused.stderr.lower()
    assert running.run("arm").returncode == 0
    assert running.run("move", "10").returncode == 4
    home = running.run("home", "--json")
    assert (home.returncode, json.loads(home.stdout)["state"]) == (0, "done")
    move = running.run("move", "12.5", "--json")
    assert (move.returncode, move.stderr) == (0, "")
    assert json.loads(move.stdout)["end_deg"] == pytest.approx(12.5, abs=0.5)
    back = running.run("move", "-5", "--by")
    assert back.returncode == 0
    assert back.stdout.startswith("vent: move done at 7.")
    outside = running.run("move", "-500")
    assert outside.returncode == 4
    turn = running.run("turn", "-4", "--for", "0.5", "--json")
    assert (turn.returncode, json.loads(turn.stdout)["kind"]) == (0, "turn")
    assert running.run("disarm").returncode == 0
    assert json.loads(running.run("status", "--json").stdout)["state"] == "disarmed"


#: As a script starts a command with `&`: with interrupts ignored.
DEAF = ("sh", "-c", 'trap "" INT; exec "$@"', "sh")


@pytest.mark.parametrize("before", [(), DEAF])
def test_an_interrupt_stops_the_lever(homed: Demo, vent: RemoteServo, before: tuple[str, ...]) -> None:
    assert homed.run("arm").returncode == 0
    assert homed.run("move", "5").returncode == 0
    with homed.begun("move", "60", "--speed", "5", before=before) as moving:
        moves(vent, moving)
        moving.send_signal(signal.SIGINT)
        out, _ = moving.communicate(timeout=20)
    assert (moving.returncode, out) == (130, "")
    until(lambda: vent.status()["state"] == "disarmed")
    stopped_at = vent.status()["angle_deg"]
    assert stopped_at < 50


def test_a_jam_is_exit_code_6_and_reset_brings_it_back(homed: Demo, vent: RemoteServo) -> None:
    assert homed.run("move", "5").returncode == 0
    with homed.begun("move", "60") as moving:
        moves(vent, moving)
        trouble(homed, "jam")
        _, err = moving.communicate(timeout=20)
    assert moving.returncode == 6, err
    assert homed.run("arm").returncode == 6
    trouble(homed, "free")
    assert homed.run("reset").returncode == 0
    assert homed.run("arm").returncode == 0


def test_stop_reaches_a_turn_without_end(homed: Demo, vent: RemoteServo) -> None:
    assert homed.run("move", "5").returncode == 0
    assert homed.run("turn", "3").returncode == 0
    until(lambda: (vent.status()["speed_deg_s"] or 0) > 1)
    assert homed.run("stop", "--category", "2").returncode == 0
    until(lambda: vent.status()["state"] == "ready")


def test_watch_prints_snapshots_as_they_change(homed: Demo, vent: RemoteServo) -> None:
    with homed.begun("watch", "--json") as watching:
        assert watching.stdout is not None
        lines = watching.stdout
        assert json.loads(lines.readline())["name"] == "vent"
        homed.run("disarm")
        until(lambda: json.loads(lines.readline())["state"] == "disarmed")
        watching.send_signal(signal.SIGINT)
        watching.communicate(timeout=20)
    assert watching.returncode == 130


def trouble(one: Demo, command: str) -> None:
    answer = httpx.post(f"{one.url}/api/v1/simulation", json={"command": command})
    assert answer.status_code == 200, answer.text
    assert "output_deg" in answer.json()


def test_an_unknown_trouble_is_refused_with_a_hint(running: Demo) -> None:
    answer = httpx.post(f"{running.url}/api/v1/simulation", json={"command": "explode"})
    assert (answer.status_code, answer.json()["type"]) == (422, "/problems/invalid")
    assert "jam" in answer.json()["detail"]


def test_the_script_of_the_readme_runs(running: Demo, tmp_path: Path) -> None:
    readme = (Path(__file__).parents[2] / "README.md").read_text()
    script = readme.split("<!-- script -->\n```python\n")[1].split("```")[0]
    assert script.count("\n") <= 11
    file = tmp_path / "script.py"
    file.write_text(script.replace("http://127.0.0.1:8350", running.url))
    running.run("reset")
    done = subprocess.run(
        [COMMAND[0].replace("geartender", "python"), file], capture_output=True, text=True, timeout=90, check=False
    )
    assert done.returncode == 0, done.stderr
    assert len(done.stdout.splitlines()) == 3


def test_the_demo_says_its_caution_and_ends_cleanly(tmp_path: Path) -> None:
    truth = tmp_path / "truth.csv"
    with demo("--truth", str(truth), "--data", str(tmp_path / "data")) as one:
        children = Path(f"/proc/{one.process.pid}/task/{one.process.pid}/children").read_text().split()
        assert len(children) == 1
        one.process.send_signal(signal.SIGTERM)
        out, err = one.process.communicate(timeout=15)
        assert one.process.returncode == 0, err
        assert out == ""
        assert "This Stop is software. It is not an emergency stop." in err
        assert "Traceback" not in err
        assert not Path(f"/proc/{children[0]}").exists()
    assert truth.read_text().startswith("t_s,output_deg,motor_counts,output_deg_s,duty,current_a,output_nm")


def test_a_killed_demo_takes_its_simulator_along() -> None:
    with demo() as one:
        (child,) = Path(f"/proc/{one.process.pid}/task/{one.process.pid}/children").read_text().split()
        os.kill(one.process.pid, signal.SIGKILL)
        one.process.wait()
        until(lambda: not Path(f"/proc/{child}").exists() or "State:\tZ" in Path(f"/proc/{child}/status").read_text())


def test_on_an_address_of_the_network_nobody_gets_in_unasked() -> None:
    with demo("--host", "0.0.0.0") as one:
        refused = one.run("arm")
        assert (refused.returncode, refused.stdout) == (4, "")
        assert "Pair this phone, or send a key" in refused.stderr


def test_a_port_in_use_is_said(running: Demo) -> None:
    port = running.url.rpartition(":")[2]
    done = subprocess.run([*COMMAND, "demo", "--port", port], capture_output=True, text=True, timeout=20, check=False)
    assert done.returncode == 1
    assert "is a service running there already?" in done.stderr
