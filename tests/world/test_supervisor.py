"""The service manager is spoken to over a real socket of its kind."""

import logging
import os
import socket
from collections.abc import Iterator
from pathlib import Path

import pytest

from geartender.world.supervisor import ALIVE, READY, Supervisor

Manager = tuple[socket.socket, str]


@pytest.fixture(params=["file", "abstract"])
def manager(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Manager]:
    name = str(tmp_path / "notify") if request.param == "file" else f"@geartender-test-{os.getpid()}"
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as listening:
        listening.bind(name.replace("@", "\0", 1))
        listening.settimeout(5)
        yield listening, name


def test_what_is_told_arrives_one_assignment_a_line(manager: Manager) -> None:
    listening, name = manager
    supervisor = Supervisor.of({"NOTIFY_SOCKET": name})
    supervisor.tell(READY, "STATUS=listening")
    supervisor.tell(ALIVE)
    assert listening.recv(100) == b"READY=1\nSTATUS=listening"
    assert listening.recv(100) == b"WATCHDOG=1"


def test_the_time_of_the_watchdog_is_in_seconds() -> None:
    assert Supervisor.of({"NOTIFY_SOCKET": "/x", "WATCHDOG_USEC": "20000000"}).watchdog_s == 20.0


def test_a_watchdog_that_is_meant_for_another_process_is_not_ours() -> None:
    environment = {"WATCHDOG_USEC": "20000000", "WATCHDOG_PID": "1"}
    assert Supervisor.of(environment).watchdog_s is None
    assert Supervisor.of({**environment, "WATCHDOG_PID": str(os.getpid())}).watchdog_s == 20.0


def test_without_a_service_manager_nothing_is_said(caplog: pytest.LogCaptureFixture) -> None:
    supervisor = Supervisor.of({})
    supervisor.tell(READY)
    assert supervisor.watchdog_s is None
    assert not caplog.records


def test_a_manager_that_does_not_listen_is_no_reason_to_end(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    with caplog.at_level(logging.WARNING):
        Supervisor(str(tmp_path / "gone")).tell(READY)
    assert "does not listen" in caplog.text
