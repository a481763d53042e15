"""The application behind its real server, on real sockets."""

import json
import os
import signal
import socket
import subprocess
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import httpx
import pytest
from websockets.exceptions import ConnectionClosed, InvalidStatus
from websockets.sync.client import ClientConnection, connect

from geartender.cli.running import ridge_vent
from tests.cli.demo import COMMAND, Demo, demo
from tests.end_to_end.shed import made_key


@pytest.fixture(scope="module")
def running() -> Iterator[Demo]:
    with demo() as one:
        yield one


def live(one: Demo, **options: str) -> ClientConnection:
    return connect(one.url.replace("http", "ws") + "/api/v1/live", compression=None, **options)  # type: ignore[arg-type]


def test_a_foreign_page_gets_a_status_instead_of_a_socket(running: Demo) -> None:
    for origin in ("http://evil.example", "null", running.url.replace("127.0.0.1", "localhost")):
        with pytest.raises(InvalidStatus) as caught:
            live(running, origin=origin)
        assert caught.value.response.status_code == 403
        assert json.loads(caught.value.response.body)["type"] == "/problems/forbidden"


def test_our_page_and_a_program_get_telemetry(running: Demo) -> None:
    for options in ({"origin": running.url}, {}):
        with live(running, **options) as socket:
            socket.send(json.dumps({"type": "subscribe", "servo": "vent", "rate_hz": 50}))
            kinds = {json.loads(socket.recv(timeout=10))["type"] for _ in range(20)}
            assert kinds >= {"snapshot", "telemetry"}


def test_a_message_beyond_all_measure_ends_the_socket(running: Demo) -> None:
    with live(running) as socket:
        socket.send("x" * 100_000)
        with pytest.raises(ConnectionClosed) as caught:
            socket.recv(timeout=10)
        assert caught.value.rcvd is not None
        assert caught.value.rcvd.code == 1009


def test_a_jog_moves_and_a_cut_line_ends_it(running: Demo) -> None:
    with httpx.Client(base_url=running.url, headers={"Geartender-Client": "thumb"}, timeout=90) as http:
        path = "/api/v1/servos/vent"

        def state() -> str:
            return str(http.get(path).json()["state"])

        until(lambda: state() == "disarmed")
        assert http.post(f"{path}/arm").status_code == 200
        assert http.post(f"{path}/home", headers={"Prefer": "wait=60"}).status_code == 200
        with live(running) as socket:
            socket.send(json.dumps({"type": "hello", "client": "thumb"}))
            for _ in range(10):
                socket.send(json.dumps({"type": "jog", "servo": "vent", "speed_deg_s": 4}))
                time.sleep(0.1)
            assert state() == "jogging"
            socket.socket.close()  # no close frame: the phone is out of reach
        until(lambda: state() == "ready")
        assert http.get(path).json()["angle_deg"] > 1


def receive_for_ever(socket: ClientConnection) -> None:
    while True:
        socket.recv(timeout=10)


def until(done: Callable[[], bool], within_s: float = 20.0) -> None:
    """Look again and again until it is so; these are real processes in real time."""
    end = time.monotonic() + within_s
    while not done():
        assert time.monotonic() < end, "in vain"
        time.sleep(0.02)


def test_head_is_answered_without_a_body(running: Demo) -> None:
    answer = httpx.head(f"{running.url}/api/v1/servos")
    assert (answer.status_code, answer.content) == (200, b"")


def test_the_server_does_not_say_what_it_is_made_of(running: Demo) -> None:
    answer = httpx.get(f"{running.url}/api/v1/servos")
    assert "server" not in answer.headers


def test_the_end_of_the_service_closes_its_sockets_in_good_time() -> None:
    with demo() as one, live(one) as socket:
        socket.send(json.dumps({"type": "subscribe", "servo": "vent"}))
        socket.recv(timeout=10)
        began = time.monotonic()
        one.process.send_signal(signal.SIGTERM)
        with pytest.raises(ConnectionClosed) as caught:
            receive_for_ever(socket)
        assert caught.value.rcvd is not None
        assert caught.value.rcvd.code == 1012
        assert one.process.wait(timeout=15) == 0
        assert time.monotonic() - began < 10


def test_serve_drives_what_its_configuration_names(tmp_path: Path) -> None:
    link = tmp_path / "line"
    config = tmp_path / "geartender.toml"
    config.write_text(
        f'[service]\nport = 0\ndata_dir = "kept"\n[[servo]]\nname = "vent"\nport = "{link}"\nbuild = "{ridge_vent()}"\n'
    )
    options = {"text": True, "stdin": subprocess.PIPE, "stdout": subprocess.PIPE, "start_new_session": True}
    simulate = subprocess.Popen([*COMMAND, "simulate", "--link", str(link), "--build", str(ridge_vent())], **options)  # type: ignore[call-overload]
    key = made_key(config, "manage")
    serve = subprocess.Popen([*COMMAND, "serve", "--config", str(config)], **options)  # type: ignore[call-overload]
    try:
        url = serve.stdout.readline().strip()
        with httpx.Client(base_url=url, headers={"Authorization": f"Bearer {key}"}) as http:
            until(lambda: http.get("/api/v1/servos/vent").json()["state"] == "disarmed")
            health = http.get("/healthz").json()
            assert (health["ready"], health["status"], health["store"]) == (True, "ok", "ok")
            assert health["servos"] == {"vent": "disarmed"}
            assert "geartender_loop_lag_seconds_count" in http.get("/metrics").text
            assert http.get("/api/v1/simulation").json()["type"] == "/problems/unknown"
            sheet = http.get("/api/v1/servos/vent/build")
            changed = {**sheet.json(), "note": "kept on disk"}
            put = http.put("/api/v1/servos/vent/build", json=changed, headers={"If-Match": sheet.headers["etag"]})
            assert put.status_code == 200, put.text
        assert 'note = "kept on disk"' in (tmp_path / "kept/servos/vent/build.toml").read_text()
    finally:
        for process in (serve, simulate):
            process.terminate()
            process.communicate(timeout=15)
    assert serve.returncode == 0


def test_a_socket_that_the_service_manager_hands_over_is_used(tmp_path: Path) -> None:
    """As systemd does it (sd_listen_fds(3)): the third descriptor, and two words in the environment."""
    config = tmp_path / "geartender.toml"
    config.write_text(
        f'[service]\nport = 1\n[[servo]]\nname = "vent"\nport = "{tmp_path}/none"\nbuild = "{ridge_vent()}"\n'
    )
    with socket.create_server(("127.0.0.1", 0)) as listening:
        port = listening.getsockname()[1]
        become = 'exec 3<&"$1"; shift; LISTEN_FDS=1 LISTEN_PID=$$ exec "$@"'
        command = ["bash", "-c", become, "bash", str(listening.fileno()), *COMMAND, "serve", "--config", str(config)]
        with subprocess.Popen(
            command, pass_fds=[listening.fileno()], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True
        ) as process:
            try:
                assert process.stdout is not None
                assert process.stdout.readline().strip() == f"http://127.0.0.1:{port}/"
                assert httpx.get(f"http://127.0.0.1:{port}/healthz").json()["alive"]
            finally:
                process.terminate()


def test_ready_is_told_once_requests_are_answered_and_the_end_as_well(tmp_path: Path) -> None:
    config = tmp_path / "geartender.toml"
    config.write_text(
        f'[service]\nport = 0\n[[servo]]\nname = "vent"\nport = "{tmp_path}/none"\nbuild = "{ridge_vent()}"\n'
    )
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind(str(tmp_path / "notify"))
        manager.settimeout(20)
        environment = {**os.environ, "NOTIFY_SOCKET": str(tmp_path / "notify"), "WATCHDOG_USEC": "400000"}
        command = [*COMMAND, "serve", "--config", str(config)]
        with subprocess.Popen(
            command, env=environment, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True
        ) as process:
            try:
                heard = []
                while "READY=1" not in heard:
                    heard.append(manager.recv(100).decode())
                assert process.stdout is not None
                url = process.stdout.readline().strip()
                assert httpx.get(f"{url}healthz").json()["alive"]
                while heard[-3:] != ["WATCHDOG=1"] * 3:
                    heard.append(manager.recv(100).decode())
            finally:
                process.terminate()
            while "STOPPING=1" not in heard:
                heard.append(manager.recv(100).decode())
