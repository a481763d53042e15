"""Two hundred hostile connections beside one good phone: `python -m tests.benchmarks.sockets [--hostile 200] [--seconds 60] [--check]`.

Silent, slow, flooding, half-open and oversized ones alike. Prints the service's memory before and after, how long a Stop takes with and without
them, and whether a jog held by the good phone was ever broken off. With `--check` it fails above 50 MB, above 3 times, or at one broken jog.
"""

from __future__ import annotations

import argparse
import http.client
import json
import multiprocessing
import statistics
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from multiprocessing.synchronize import Event
from pathlib import Path
from typing import Any

from websockets.sync.client import connect

from tests.api.hostile_sockets import attack
from tests.browser.conftest import running_demo
from tests.browser.service import Service

MEMORY_MAX_MB = 50.0
RATIO_MAX = 3.0
HOLD_S = 2.0
REPEAT_S = 0.1
JOG_DEG_S = 4.0
STOP_EVERY_S = 0.05


def memory_mb(pid: int) -> float:
    """Resident memory of a process."""
    line = next(one for one in Path(f"/proc/{pid}/status").read_text().splitlines() if one.startswith("VmRSS"))
    return int(line.split()[1]) / 1024


def time_stops(service: Service, seconds: float) -> list[float]:
    """Seconds from asking for a Stop to its answer, over one connection that is kept."""
    host, port = service.host_port()
    connection = http.client.HTTPConnection(host, port, timeout=10)
    taken = []
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        began = time.perf_counter()
        connection.request("POST", "/api/v1/servos/vent/stop", b"{}", {"Content-Type": "application/json"})
        connection.getresponse().read()
        taken.append(time.perf_counter() - began)
        time.sleep(STOP_EVERY_S)
    return taken


@dataclass
class GoodPhone:
    """Holds a button for two seconds at a time, one way and back."""

    holds: int = 0
    broken: int = 0

    def hold_on(self, service: Service, seconds: float) -> None:
        """Hold, and look whether it goes on."""
        host, port = service.host_port()
        with connect(f"ws://{host}:{port}/api/v1/live") as phone:
            threading.Thread(target=lambda: [None for _ in phone], daemon=True).start()
            end = time.monotonic() + seconds
            while time.monotonic() < end:
                self._hold(service, phone, JOG_DEG_S if self.holds % 2 else -JOG_DEG_S)

    def _hold(self, service: Service, phone: Any, speed: float) -> None:
        self.holds += 1
        motions: set[str] = set()
        end = time.monotonic() + HOLD_S
        while time.monotonic() < end:
            phone.send(json.dumps({"type": "jog", "servo": "vent", "speed_deg_s": speed}))
            time.sleep(REPEAT_S)
            snapshot = service.snapshot()
            motions.add(
                str(snapshot["motion"] and snapshot["motion"]["id"])
                if snapshot["state"] == "jogging"
                else snapshot["state"]
            )
        self.broken += len(motions) != 1
        phone.send(json.dumps({"type": "jog", "servo": "vent", "speed_deg_s": 0}))
        service.state_is("ready")


@contextmanager
def attacked(address: tuple[str, int], number: int) -> Iterator[None]:
    """The hostile ones, in a process of their own."""
    over: Event = multiprocessing.Event()
    process = multiprocessing.Process(target=attack, args=(address, number, over.is_set), daemon=True)
    process.start()
    try:
        yield
    finally:
        over.set()
        process.join()


def main() -> int:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--hostile", type=int, default=200)
    parser.add_argument("--seconds", type=float, default=60.0)
    parser.add_argument("--check", action="store_true")
    given = parser.parse_args()
    phone = GoodPhone()
    with tempfile.TemporaryDirectory() as folder, running_demo(Path(folder)) as demo:
        demo.make_ready()
        phone.hold_on(demo, 3 * HOLD_S)
        floor = time_stops(demo, given.seconds / 3)
        before = memory_mb(demo.process.pid)
        with attacked(demo.host_port(), given.hostile):
            time.sleep(2.0)
            taken = time_stops(demo, given.seconds / 3)
            demo.make_ready()
            phone.hold_on(demo, given.seconds / 2)
            after = memory_mb(demo.process.pid)
    print(
        f"memory: {before:.1f} MB before, {after:.1f} MB under {given.hostile} hostile connections: {after - before:+.1f} MB"
    )
    ratio = 0.0
    for name, share in (("p50", 50), ("p99", 99)):
        ours, least = (statistics.quantiles(times, n=100)[share - 1] * 1e3 for times in (taken, floor))
        ratio = ours / least
        print(f"stop, {name}: {ours:.2f} ms, without them {least:.2f} ms, ratio {ratio:.2f}")
    print(f"good phone: {phone.holds} holds of {HOLD_S:g} s, {phone.broken} broken off")
    kept = after - before < MEMORY_MAX_MB and ratio < RATIO_MAX and phone.broken == 0
    return int(given.check and not kept)


if __name__ == "__main__":
    sys.exit(main())
