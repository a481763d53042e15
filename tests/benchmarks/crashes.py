"""A service that is killed again and again, at any instant of its start and of its work: `python tests/benchmarks/crashes.py`.

Two kinds of deaths, counted apart. *Forks*: the service starts in a process that was split off from one that has read all modules
already; from there on it is the real one, on real files and a real line to a simulated board that lives through it all, and it is killed by
SIGKILL or ends on the spot. *Processes*: `geartender serve` as a whole, killed by SIGKILL from its first instruction on. In each
the servo is armed, homed and moved, and documents are kept, as soon as may be.

After every hundred, and at the end, a whole process must come up by itself: alive, its store in order, every document that was
acknowledged still there, the servo disarmed and at rest, and no entry of the journal left without an end. With `--check` it ends with 1 if not.
"""

from __future__ import annotations

import argparse
import asyncio
import json
import os
import random
import signal
import subprocess
import sys
import tempfile
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from geartender.api.app import create_app, store_url
from geartender.api.service import Service
from geartender.api.serving import listening_socket, run_app
from geartender.cli.running import ridge_vent
from geartender.config import Settings, load_settings
from geartender.errors import GeartenderError
from geartender.servo.models import ServoState
from geartender.servo.motions import Who
from geartender.servo.requests import MoveRequest
from geartender.store import Store
from geartender.store.tables import JournalRow
from geartender.world import real_world

COMMAND = [str(Path(sys.executable).with_name("geartender"))]
PERSON = Who("person", "person")
FORK_LIVES_S = (0.0, 1.2)
"""s; a start takes about 0.4 of it, the rest is arming, homing and moving."""
PROCESS_LIVES_S = (0.0, 3.0)
"""s; reading the modules takes half a second more."""
HOMED_WITHIN_S = 120.0
LOOK_AFTER = 100
UP_WITHIN_S = 30.0
AT_REST_DEG_S = 0.5


@dataclass
class Shed:
    """Where it all happens."""

    folder: Path
    chance: random.Random
    config: Path = field(init=False)
    acknowledged: Path = field(init=False)
    deaths: dict[str, int] = field(default_factory=dict)
    reached: dict[str, int] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.config = self.folder / "geartender.toml"
        self.acknowledged = self.folder / "acknowledged"
        self.acknowledged.touch()
        self.config.write_text(
            f'[service]\nport = 0\ndata_dir = "kept"\n[[servo]]\nname = "vent"\nport = "{self.folder}/line"\nbuild = "{ridge_vent()}"\n'
        )

    def last_words(self) -> str:
        """How far the last fork had come."""
        says = self.folder / "says"
        return (says.read_text() if says.exists() else "") or "starting"

    def died(self, kind: str, last_words: str) -> None:
        self.deaths[kind] = self.deaths.get(kind, 0) + 1
        self.reached[last_words] = self.reached.get(last_words, 0) + 1


async def work(service: Service, shed: Shed, number: int) -> None:
    """What a person would do, without a pause: keep something, arm, home, move."""
    servo, says = service.servos["vent"], shed.folder / "says"
    says.write_text("up")
    name = f"d{number}"
    await service.store.put_document("note", name, {"number": number}, None)
    with shed.acknowledged.open("a") as file:
        file.write(f"{name}\n")
    while True:
        try:
            if servo.state is ServoState.FAULTED:
                await servo.reset(PERSON)
            await servo.arm(PERSON)
            says.write_text("armed")
            if not servo.snapshot().homed:
                await servo.home(PERSON)
                says.write_text("homing")
            await servo.move(PERSON, MoveRequest(to_deg=shed.chance.uniform(2, 60)))
            says.write_text("moving")
        except GeartenderError:
            pass
        await asyncio.sleep(0.05)


def be_a_service(settings: Settings, shed: Shed, number: int) -> None:
    """The whole life of a fork."""
    shed.chance.seed(number)
    (shed.folder / "says").write_text("starting")
    app = create_app(settings, real_world())
    bound = listening_socket("127.0.0.1", 0)
    keep: list[asyncio.Task[None]] = []
    run_app(app, bound, lambda: keep.append(asyncio.create_task(work(app.state.service, shed, number))))


def fork(settings: Settings, shed: Shed, number: int, ends_after_s: float = 0.0) -> int:
    """A service in a process of its own, which may end on the spot out of its own midst; its id."""
    child = os.fork()
    if child:
        return child
    os.setsid()
    os.dup2(os.open(os.devnull, os.O_WRONLY), 2)
    signal.signal(signal.SIGALRM, lambda *_: os._exit(9))
    signal.setitimer(signal.ITIMER_REAL, ends_after_s)
    try:
        be_a_service(settings, shed, number)
    finally:
        os._exit(7)


def home_once(settings: Settings, shed: Shed) -> None:
    """The board knows its place from then on, so that what dies later dies in the midst of moves."""
    child, end = fork(settings, shed, 0), time.monotonic() + HOMED_WITHIN_S
    while shed.last_words() != "moving":
        assert time.monotonic() < end, "it was never homed"
        time.sleep(0.05)
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)


def fork_and_kill(settings: Settings, shed: Shed, number: int) -> None:
    """One death of a fork."""
    lives_s, by_itself = shed.chance.uniform(*FORK_LIVES_S), shed.chance.random() < 0.25
    child = fork(settings, shed, number, max(lives_s, 1e-3) if by_itself else 0.0)
    if not by_itself:
        time.sleep(lives_s)
        os.kill(child, signal.SIGKILL)
    _, status = os.waitpid(child, 0)
    died = "fork, exit" if by_itself else "fork, SIGKILL"
    if (by_itself and os.waitstatus_to_exitcode(status) != 9) or (not by_itself and status != signal.SIGKILL):
        died = "fork, by itself"  # it was not to: the service ended before it was killed
    shed.died(died, shed.last_words())


def kill_a_process(shed: Shed) -> None:
    """One death of a whole process."""
    with serving(shed) as process:
        time.sleep(shed.chance.uniform(*PROCESS_LIVES_S))
        process.kill()
        process.wait()
    shed.died("process, SIGKILL", "a process")


@contextmanager
def serving(shed: Shed) -> Iterator[subprocess.Popen[str]]:
    command = [*COMMAND, "serve", "--config", str(shed.config)]
    options: dict[str, Any] = {"stdout": subprocess.PIPE, "stderr": subprocess.DEVNULL, "text": True}
    with subprocess.Popen(command, start_new_session=True, **options) as process:
        try:
            yield process
        finally:
            process.kill()


def look(shed: Shed, simulator: subprocess.Popen[str]) -> list[str]:
    """What is wrong after all those deaths; nothing, if all is as promised."""
    wrong: list[str] = []
    with serving(shed) as process:
        assert process.stdout is not None
        url = process.stdout.readline().strip()
        if not url:
            return ["no service comes up"]
        health = ready(shed, url)
        if not (health.get("ready") and health["servos"] == {"vent": "disarmed"}):
            wrong.append(f"after {UP_WITHIN_S:.0f} s it says {health}")
        speed = truth(simulator)["output_deg_s"]
        if abs(speed) > AT_REST_DEG_S:
            wrong.append(f"the output turns at {speed} °/s")
        process.terminate()
        if process.wait(30):
            wrong.append(f"it ended with {process.returncode}")
    return [*wrong, *asyncio.run(look_into_the_store(shed))]


def ready(shed: Shed, url: str) -> dict[str, Any]:
    """What it says of itself, once it is ready or the time is up; with the key that it leaves for commands of its machine."""
    key = json.loads((shed.folder / "kept/machine.json").read_text())["key"]
    request = urllib.request.Request(f"{url}healthz", headers={"Authorization": f"Bearer {key}"})  # noqa: S310
    end, health = time.monotonic() + UP_WITHIN_S, {}
    while time.monotonic() < end:
        health = json.load(urllib.request.urlopen(request, timeout=10))  # noqa: S310 - our own service
        if health["ready"] and health["servos"] == {"vent": "disarmed"}:
            break
        time.sleep(0.05)
    return health


def truth(simulator: subprocess.Popen[str]) -> dict[str, float]:
    assert simulator.stdin is not None
    assert simulator.stdout is not None
    simulator.stdin.write("truth\n")
    simulator.stdin.flush()
    answer: dict[str, float] = json.loads(simulator.stdout.readline())
    return answer


async def look_into_the_store(shed: Shed) -> list[str]:
    wrong = []
    store = Store(store_url(load_settings(shed.config)), real_world())
    await store.open()
    try:
        if store.trouble is not None:
            wrong.append(f"the store is {store.trouble}")
        there = {document.name for document in await store.documents("note")}
        if missing := set(shed.acknowledged.read_text().split()) - there:
            wrong.append(f"acknowledged, but gone: {sorted(missing)}")
        ends = await store.read(
            lambda session: session.query(JournalRow.result).filter(JournalRow.kind == "move").all()
        )
        if open_ones := sum(result is None for (result,) in ends):
            wrong.append(f"{open_ones} motions in the journal have no end")
    finally:
        await store.close()
    return wrong


@contextmanager
def simulated(shed: Shed) -> Iterator[subprocess.Popen[str]]:
    """The board, which lives through it all."""
    command = [*COMMAND, "simulate", "--link", str(shed.folder / "line"), "--build", str(ridge_vent())]
    with subprocess.Popen(
        command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, start_new_session=True
    ) as one:
        assert one.stdout is not None
        one.stdout.readline()
        try:
            yield one
        finally:
            one.terminate()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--forks", type=int, default=1000)
    parser.add_argument("--processes", type=int, default=50)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--check", action="store_true", help="end with 1 when something is wrong")
    asked = parser.parse_args()
    began, wrong = time.monotonic(), []
    with tempfile.TemporaryDirectory() as folder:
        shed = Shed(Path(folder), random.Random(asked.seed))
        settings = load_settings(shed.config)
        with simulated(shed) as simulator:
            home_once(settings, shed)
            deaths = ["fork"] * asked.forks + ["process"] * asked.processes
            shed.chance.shuffle(deaths)
            for number, kind in enumerate(deaths, 1):
                if kind == "fork":
                    fork_and_kill(settings, shed, number)
                else:
                    kill_a_process(shed)
                if number % LOOK_AFTER == 0 or number == len(deaths):
                    wrong += [f"after {number}: {each}" for each in look(shed, simulator)]
        acknowledged = len(shed.acknowledged.read_text().split())
    print(f"deaths: {', '.join(f'{count} {kind}' for kind, count in sorted(shed.deaths.items()))}; seed {asked.seed}")
    print(f"the last that a fork had come to: {dict(sorted(shed.reached.items()))}")
    print(f"documents acknowledged, and all there: {acknowledged}; {time.monotonic() - began:.0f} s in all")
    if shed.deaths.get("fork, by itself"):
        wrong.append(f"{shed.deaths['fork, by itself']} services ended by themselves")
    print("\n".join(wrong) or "every time a service came up by itself, its store in order, disarmed and at rest")
    sys.exit(bool(wrong) and asked.check)


if __name__ == "__main__":
    main()
