"""`geartender doctor` as a person runs it: before the service was started, and while it runs."""

import json
import subprocess
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from geartender.cli.running import ridge_vent
from geartender.firmware.version import VERSION
from tests.cli.demo import COMMAND

#: What this machine is like is not for these tests to say.
OF_THE_MACHINE = {"clock", "zone", "memory", "disk"}


@pytest.fixture
def config(tmp_path: Path) -> Iterator[Path]:
    """A configuration whose servo is simulated behind a real pseudo-terminal."""
    line = tmp_path / "line"
    file = tmp_path / "geartender.toml"
    file.write_text(
        f'[service]\nport = {free_port()}\ndata_dir = "kept"\n[[servo]]\nname = "vent"\nport = "{line}"\nbuild = "{ridge_vent()}"\n'
    )
    simulate = [*COMMAND, "simulate", "--link", str(line), "--build", str(ridge_vent())]
    with subprocess.Popen(
        simulate, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, start_new_session=True
    ) as simulator:
        assert simulator.stdout is not None
        assert simulator.stdout.readline().startswith("ready")
        yield file
        simulator.terminate()


def free_port() -> int:
    import socket

    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return int(one.getsockname()[1])


def doctor(config: Path, *options: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [*COMMAND, "doctor", "--config", str(config), *options], capture_output=True, text=True, check=False, timeout=60
    )


def findings(config: Path) -> dict[str, dict[str, Any]]:
    return {one["what"]: one for one in json.loads(doctor(config, "--json").stdout)}


def test_before_the_service_was_started_it_looks_for_itself(config: Path) -> None:
    found = findings(config)
    assert set(found) == {"service", "port of vent", "firmware of vent", "database", "HTTPS", *OF_THE_MACHINE}
    assert found["service"]["verdict"] == "look"
    assert found["port of vent"]["verdict"] == "good"
    assert found["firmware of vent"]["text"] == f"The board runs {VERSION}, as it should."
    assert found["database"]["text"].endswith("will be made at the first start.")
    assert not (config.parent / "kept").exists()


def test_while_the_service_runs_it_asks_the_service(config: Path) -> None:
    serve = subprocess.Popen(
        [*COMMAND, "serve", "--config", str(config)],
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
        start_new_session=True,
    )
    try:
        assert serve.stdout is not None
        assert serve.stdout.readline()
        found = findings(config)
        assert found["service"]["verdict"] == "good"
        assert found["firmware of vent"]["text"] == f"The board runs {VERSION}, as it should."
        assert found["database"]["verdict"] == "good"
    finally:
        serve.terminate()
        serve.communicate(timeout=15)


def test_for_a_person_it_says_what_to_do_and_ends_with_1(config: Path) -> None:
    config.write_text(config.read_text().replace("/line", "/no-line"))
    done = doctor(config)
    assert done.returncode == 1
    (line, fix) = [each for each in done.stdout.splitlines() if "no-line" in each or "Plug the board in" in each]
    assert line.startswith("✗ port of vent")
    assert fix.strip().startswith("→ Plug the board in")


def test_a_configuration_with_mistakes_is_said_first(config: Path) -> None:
    config.write_text("[service]\nporf = 1\n")
    done = doctor(config)
    assert done.returncode == 1
    assert "porf" in done.stderr
