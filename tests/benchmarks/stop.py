"""How long a Stop takes from the request to its bytes on the wire, against the least that this machine can do.

Floor: a POST to a bare application that does nothing, behind the same server with the same flood beside it, plus a raw write to a
pseudo-terminal. Prints p50 and p99 of both and their ratio: `python tests/benchmarks/stop.py [--stops N] [--check]`; with `--check` it
fails when the ratio at p99 is above 3. Twenty live sockets that never read, and a flood of requests, run beside all of it.
"""

from __future__ import annotations

import argparse
import base64
import contextlib
import json
import multiprocessing
import os
import select
import socket
import statistics
import subprocess
import sys
import tempfile
import time
import tty
from collections.abc import Callable, Iterator
from pathlib import Path

import uvicorn

import geartender.build
from geartender.build import load_build
from geartender.priority import go_first
from geartender.simulator.device import SimulatedServo

sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.end_to_end.shed import made_key

COMMAND = str(Path(sys.executable).with_name("geartender"))
VENT = Path(geartender.build.__file__).with_name("ridge_vent.toml")
RATIO_MAX = 3.0
SLOW_SOCKETS = 20
FLOOD_CLIENTS = 2
FLOOD_PAUSE_S = 0.002


async def do_nothing(scope, receive, send):  # type: ignore[no-untyped-def]
    """The bare application: takes a request, answers 204."""
    while scope["type"] == "http" and (await receive()).get("more_body"):
        pass
    if scope["type"] == "http":
        await send({"type": "http.response.start", "status": 204, "headers": []})
        await send({"type": "http.response.body", "body": b""})


def serve_nothing(bound: socket.socket) -> None:
    """Run the bare application behind the server that the service uses, with the priority that the service has."""
    go_first()
    uvicorn.Server(uvicorn.Config(do_nothing, lifespan="off", access_log=False, log_level="error")).run([bound])


def request(path: str, method: str, port: int, key: str) -> bytes:
    """A request as bytes."""
    return (
        f"{method} {path} HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nAuthorization: Bearer {key}\r\nContent-Length: 0\r\n\r\n"
    ).encode()


def answered(client: socket.socket) -> None:
    """Read one answer to its end."""
    data = b""
    while b"\r\n\r\n" not in data:
        data += client.recv(65536)
    head, _, body = data.partition(b"\r\n\r\n")
    lengths = [line for line in head.lower().split(b"\r\n") if line.startswith(b"content-length:")]
    wanted = int(lengths[0].split(b":")[1]) if lengths else 0
    while len(body) < wanted:
        body += client.recv(65536)


def flood(port: int, path: str, key: str) -> None:
    """Ask without end, from a process of its own."""
    with socket.create_connection(("127.0.0.1", port)) as client:
        while True:
            client.sendall(request(path, "GET", port, key))
            answered(client)
            time.sleep(FLOOD_PAUSE_S)


@contextlib.contextmanager
def flooded(port: int, path: str, key: str) -> Iterator[None]:
    """The flood beside what is measured."""
    clients = [multiprocessing.Process(target=flood, args=(port, path, key), daemon=True) for _ in range(FLOOD_CLIENTS)]
    for client in clients:
        client.start()
    try:
        yield
    finally:
        for client in clients:
            client.kill()
            client.join()


def slow_socket(port: int, access: str) -> socket.socket:
    """A live socket that subscribes and then never reads."""
    client = socket.create_connection(("127.0.0.1", port))
    key = base64.b64encode(os.urandom(16)).decode()
    client.sendall(
        f"GET /api/v1/live HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nUpgrade: websocket\r\nConnection: Upgrade\r\n"
        f"Sec-WebSocket-Key: {key}\r\nSec-WebSocket-Version: 13\r\nAuthorization: Bearer {access}\r\n\r\n".encode()
    )
    assert b" 101 " in client.recv(4096)
    text = json.dumps({"type": "subscribe", "servo": "vent", "rate_hz": 50}).encode()
    mask = os.urandom(4)
    client.sendall(
        bytes([0x81, 0x80 | len(text)]) + mask + bytes(byte ^ mask[index % 4] for index, byte in enumerate(text))
    )
    return client


class Wire:
    """The firmware's end of the pseudo-terminal: keeps a simulated servo going, and tells when a stop's bytes come."""

    def __init__(self) -> None:
        self.near, self.far = os.openpty()
        tty.setraw(self.far)
        os.set_blocking(self.near, False)
        self._servo = SimulatedServo(load_build(VENT))
        self._began = time.monotonic()

    def turn(self, wait_s: float) -> bytes:
        """Wait for bytes at most so long, hand them to the servo and let it run; the bytes."""
        readable, _, _ = select.select([self.near], [], [], wait_s)
        data = os.read(self.near, 4096) if readable else b""
        self._servo.receive(data)
        return data

    def catch_up(self) -> None:
        """Bring the servo to the present."""
        self._servo.advance(int((time.monotonic() - self._began) * 1e6))
        if sent := self._servo.take_output():
            with contextlib.suppress(BlockingIOError):
                os.write(self.near, sent)

    def rest(self, seconds: float, until: Callable[[], bool] = lambda: False) -> None:
        """Let time pass."""
        end = time.monotonic() + seconds
        while time.monotonic() < end and not until():
            self.turn(0.002)
            self.catch_up()


def time_stops(wire: Wire, port: int, count: int, key: str) -> list[float]:
    """Seconds from a Stop's request to its bytes on the wire."""
    taken = []
    with socket.create_connection(("127.0.0.1", port)) as client:
        for _ in range(count):
            wire.rest(0.03)
            began = time.perf_counter()
            client.sendall(request("/api/v1/servos/vent/stop", "POST", port, key))
            seen = b""
            while b"stop " not in seen:
                seen += wire.turn(1.0)
            taken.append(time.perf_counter() - began)
            wire.catch_up()
            answered(client)
    return taken


def time_floor(wire: Wire, port: int, count: int, key: str) -> list[float]:
    """Seconds of a POST that does nothing, and of a raw write seen at the other end."""
    line = b"stop 1 1*00000000\n"
    taken = []
    with socket.create_connection(("127.0.0.1", port)) as client:
        for _ in range(count):
            wire.rest(0.03)
            began = time.perf_counter()
            client.sendall(request("/", "POST", port, key))
            answered(client)
            os.write(wire.far, line)
            seen = b""
            while line not in seen:
                seen += wire.turn(1.0)
            taken.append(time.perf_counter() - began)
            wire.catch_up()
    return taken


def measure(stops: int) -> tuple[list[float], list[float]]:
    """Times of stops and of the floor."""
    wire = Wire()
    with contextlib.ExitStack() as stack, tempfile.TemporaryDirectory() as folder:
        bound = stack.enter_context(socket.create_server(("127.0.0.1", 0)))
        bare = multiprocessing.Process(target=serve_nothing, args=(bound,), daemon=True)
        bare.start()
        stack.callback(bare.kill)
        config = Path(folder) / "service.toml"
        config.write_text(
            f'[service]\nport = 0\ndata_dir = "data"\n\n[[servo]]\nname = "vent"\nport = "{os.ttyname(wire.far)}"\nbuild = "{VENT}"\n'
        )
        key = made_key(config, "manage")
        service = subprocess.Popen(
            [COMMAND, "serve", "--config", str(config)], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True
        )
        stack.callback(service.wait)
        stack.callback(service.kill)
        assert service.stdout is not None
        out = service.stdout
        wire.rest(30.0, until=lambda: bool(select.select([out], [], [], 0)[0]))
        port = int(out.readline().strip().rstrip("/").rpartition(":")[2])
        floor_port = bound.getsockname()[1]
        sockets = [stack.enter_context(contextlib.closing(slow_socket(port, key))) for _ in range(SLOW_SOCKETS)]
        assert len(sockets) == SLOW_SOCKETS
        wire.rest(2.0)
        with flooded(floor_port, "/", key):
            floor = time_floor(wire, floor_port, stops, key)
        with flooded(port, "/api/v1/servos/vent", key):
            taken = time_stops(wire, port, stops, key)
        return taken, floor


def main() -> int:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--stops", type=int, default=300)
    parser.add_argument("--check", action="store_true")
    options = parser.parse_args()
    taken, floor = measure(options.stops)
    print(f"{options.stops} stops, {SLOW_SOCKETS} sockets that never read, {FLOOD_CLIENTS} clients flooding")
    ratio = 0.0
    for name, share in (("p50", 50), ("p99", 99)):
        ours, least = (statistics.quantiles(times, n=100)[share - 1] * 1e3 for times in (taken, floor))
        ratio = ours / least
        print(f"{name}: stop {ours:.2f} ms, floor {least:.2f} ms, ratio {ratio:.2f}")
    return int(options.check and ratio > RATIO_MAX)


if __name__ == "__main__":
    sys.exit(main())
