"""The command `firmware install`: where it takes the port from, and the service that lets go of it and gets it back."""

import json
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from geartender.cli import firmware
from geartender.cli.main import app
from geartender.cli.running import ridge_vent
from geartender.errors import Busy, InstallError, Unreachable
from geartender.install import procedure, tool

CONFIG = """
[[servo]]
name = "vent"
port = "/dev/serial/by-id/one"
build = "{sheet}"

[[servo]]
name = "door"
port = "/dev/serial/by-id/two"
build = "{sheet}"
"""


class Remote:
    """The servo of a service; `refusal` is what it answers to a wish for its port."""

    def __init__(self, log: list[str], refusal: Exception | None) -> None:
        self._log, self._refusal = log, refusal

    def release(self) -> None:
        if self._refusal is not None:
            raise self._refusal
        self._log.append("released")

    def reconnect(self) -> None:
        self._log.append("reconnect")


@pytest.fixture
def log() -> list[str]:
    return []


def installing(
    monkeypatch: pytest.MonkeyPatch,
    log: list[str],
    *,
    refusal: Exception | None = None,
    failure: Exception | None = None,
) -> None:
    """Let the command find a service and an installer that only write down what they are asked."""

    class Installer:
        def __init__(self, *given: Any) -> None:
            self.port = given[-1]

        def run(self) -> procedure.Report:
            log.append(f"installed on {self.port}")
            if failure is not None:
                raise failure
            return procedure.Report(self.port or "/dev/ttyACM0", None, "0.1.0", ("main.py",), ())

    @contextmanager
    def connected(url: str, key: str | None) -> Iterator[None]:
        if isinstance(refusal, Unreachable):
            raise refusal
        yield None

    monkeypatch.setattr(procedure, "Installer", Installer)
    monkeypatch.setattr(tool, "CopyingTool", lambda: None)
    monkeypatch.setattr(firmware, "connected", connected)
    monkeypatch.setattr(firmware, "chosen", lambda client, servo: Remote(log, refusal))


def run(*words: str) -> Any:
    return CliRunner().invoke(app, ["firmware", "install", *words])


def test_the_service_lets_go_of_the_port_and_gets_it_back(monkeypatch: pytest.MonkeyPatch, log: list[str]) -> None:
    installing(monkeypatch, log)
    done = run("--port", "/dev/ttyACM3", "--json")
    assert done.exit_code == 0, done.output
    assert log == ["released", "installed on /dev/ttyACM3", "reconnect"]
    assert json.loads(done.stdout)["copied"] == ["main.py"]


def test_it_gets_it_back_when_the_installing_failed(monkeypatch: pytest.MonkeyPatch, log: list[str]) -> None:
    installing(monkeypatch, log, failure=InstallError("no"))
    assert isinstance(run().exception, InstallError)
    assert log == ["released", "installed on None", "reconnect"]


def test_an_armed_servo_is_left_alone(monkeypatch: pytest.MonkeyPatch, log: list[str]) -> None:
    installing(monkeypatch, log, refusal=Busy("armed"))
    assert isinstance(run().exception, Busy)
    assert log == []


def test_without_a_service_it_goes_on(monkeypatch: pytest.MonkeyPatch, log: list[str]) -> None:
    installing(monkeypatch, log, refusal=Unreachable("nobody"))
    done = run()
    assert done.exit_code == 0, done.output
    assert log == ["installed on None"]
    assert "No service answers" in done.stderr


def test_the_port_comes_from_the_configuration(monkeypatch: pytest.MonkeyPatch, log: list[str], tmp_path: Path) -> None:
    installing(monkeypatch, log)
    config = tmp_path / "config.toml"
    config.write_text(CONFIG.format(sheet=ridge_vent()))
    assert run("--config", str(config)).exit_code == 2
    assert run("--config", str(config), "--servo", "door").exit_code == 0
    assert log == ["released", "installed on /dev/serial/by-id/two", "reconnect"]
