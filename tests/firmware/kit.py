"""A bench for the firmware: a simulated servo and a host that speaks line by line, both in step, no loop and no clock."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import geartender.build
from geartender.build import BuildSheet, load_build
from geartender.firmware import tick
from geartender.firmware.core import Core
from geartender.firmware.lines import encode
from geartender.firmware.version import PROTOCOL
from geartender.motion import Limits, State, plan
from geartender.motion import Path as MotionPath
from geartender.servo.settings import firmware_settings
from geartender.servo.units import Scale
from geartender.simulator.board import CPythonBoard
from geartender.simulator.device import SimulatedServo
from geartender.simulator.plant import Plant, plant_of

VENT = load_build(Path(geartender.build.__file__).with_name("ridge_vent.toml"))
TICK_S = 0.002
FINE = 65536
# As PROTOCOL.md lists them under Telemetry.
FIELDS = (
    *("t", "state", "homed", "count", "reference", "speed", "duty", "current", "load", "supply", "winding", "motion"),
    *("ended", "how", "fault", "number", "peak", "origin", "illegal", "marks", "source", "pulse", "eased"),
)
WORDS = {"state", "how", "fault", "source"}


def sheet_with(sheet: BuildSheet = VENT, **tables: Any) -> BuildSheet:
    """The sheet with some values of some tables changed: `travel={"max_deg": 90}`."""
    data = sheet.model_dump(exclude_none=True)
    for name, value in tables.items():
        data[name] = {**data.get(name, {}), **value} if isinstance(value, dict) else value
    return BuildSheet.model_validate(data)


def plant_with(sheet: BuildSheet = VENT, **tables: Any) -> Plant:
    """The plant of a sheet with some values changed."""
    data = plant_of(sheet).model_dump()
    for name, value in tables.items():
        data[name] = {**(data[name] or {}), **value} if isinstance(value, dict) else value
    return Plant.model_validate(data)


def rigid(sheet: BuildSheet = VENT, **tables: Any) -> Plant:
    """A plant without play or spring, other values changed at will."""
    gear = {"backlash_deg": 0.0, "stiffness_nm_per_deg": 0.0, **tables.pop("gear", {})}
    return plant_with(sheet, gear=gear, **tables)


class Bench:
    """One servo and its host; `telemetry` is the last line of it as a dict."""

    def __init__(
        self,
        plant: Plant | None = None,
        sheet: BuildSheet = VENT,
        seed: int = 0,
        settings: dict[str, int] | None = None,
        *,
        micropython: bool = False,
        greet: bool = True,
    ) -> None:
        self.sheet = sheet
        self.scale = Scale.of(sheet)
        self.per_deg = self.scale.counts(1.0)
        self.sim = SimulatedServo(sheet, plant or rigid(sheet), seed, micropython=micropython)
        self.settings = {**firmware_settings(sheet), **(settings or {})}
        self.telemetry: dict[str, Any] = {}
        self.events: list[list[str]] = []
        self.replies: dict[int, list[str]] = {}
        self.heard: list[bytes] = []
        self.sent_ids = 1000
        self.ticks = 0
        self._buffer = b""
        self._beat_at = 0
        self.silent = False
        if greet:
            self.hello()
            self.give_settings()
            self.ask("rate", 10)

    @property
    def core(self) -> Core:
        """The firmware's core, where it runs in this interpreter."""
        board = self.sim._board
        assert isinstance(board, CPythonBoard)
        return board.core

    @property
    def state(self) -> Any:
        """The tick's words."""
        return self.core.state

    @property
    def now(self) -> int:
        """Firmware time of the last telemetry, or since boot."""
        return self.telemetry.get("t", self.ticks * tick.TICK_US) & tick.MASK

    def after(self, seconds: float) -> int:
        """A firmware time that far ahead."""
        return (self.now + round(seconds * 1e6)) & tick.MASK

    # --- time

    def step(self) -> None:
        """One tick."""
        if not self.silent and self.ticks >= self._beat_at and self.replies:
            self._beat_at = self.ticks + 40
            self.send("beat")
        self.ticks += 1
        self.sim.advance(self.sim.next_us)
        self._take(self.sim.take_output())

    def run(self, seconds: float) -> None:
        """Let time pass."""
        for _ in range(round(seconds / TICK_S)):
            self.step()

    def until(self, condition: Any, seconds: float = 60.0) -> bool:
        """Let time pass until something holds; False if it never does."""
        for _ in range(round(seconds / TICK_S)):
            if condition():
                return True
            self.step()
        return False

    # --- lines

    def raw(self, body: str) -> None:
        """Send a line."""
        self.sim.receive(encode(body))

    def send(self, *words: object) -> int:
        """Send the next request; its id."""
        number = self.next_id()
        self.raw(" ".join(str(word) for word in (number, *words)))
        return number

    def next_id(self) -> int:
        """The id of the next request."""
        self.sent_ids += 1
        return self.sent_ids

    def ask(self, *words: object) -> list[str]:
        """Send the next request and wait for its answer: `["ok", …]` or `["no", reason, …]`."""
        asked = self.send(*words)
        assert self.until(lambda: asked in self.replies, 1.0), f"no answer to {words}"
        return self.replies[asked]

    def hello(self, token: str = "0badcafe") -> list[str]:
        """Open a conversation."""
        return self.ask("hello", token, PROTOCOL)

    def give_settings(self) -> None:
        """Send all settings."""
        items = [f"{name}={value}" for name, value in self.settings.items()]
        for start in range(0, len(items), 5):
            assert self.ask("set", *items[start : start + 5]) == ["ok"]

    def _take(self, data: bytes) -> None:
        self.heard.append(data)
        *lines, self._buffer = (self._buffer + data).split(b"\n")
        for line in lines:
            words = line[:-9].decode().split(" ")
            if words[0] == "~":
                self.telemetry = {
                    name: word if name in WORDS else int(word) for name, word in zip(FIELDS, words[1:], strict=True)
                }
            elif words[0] == "!":
                self.events.append(words[2:])
            else:
                self.replies[int(words[0])] = words[1:]

    # --- motion

    @property
    def angle_deg(self) -> float:
        """Angle that the count stands for, the middle of its cell."""
        counts = self.telemetry["count"] + 0.5 - self.telemetry["origin"] / FINE
        assert self.sheet.home is not None
        return self.sheet.home.angle_deg + counts / self.per_deg

    @property
    def off_counts(self) -> float:
        """How far the truth is from that, in counts."""
        return (self.sim.truth().output_deg - self.angle_deg) * self.per_deg

    def arm(self) -> None:
        """Arm, or fail the test."""
        assert self.ask("arm", self.after(0.2)) == ["ok"]

    def home(self, motion: int = 1) -> dict[str, Any]:
        """Home and wait for the end; the telemetry of it."""
        assert self.ask("home", motion, self.after(0.2)) == ["ok"]
        assert self.until(lambda: self.telemetry.get("ended") == motion)
        return self.telemetry

    def ready(self) -> Bench:
        """Armed, homed and at rest."""
        self.arm()
        assert self.home()["how"] == "done"
        self.run(0.3)
        return self

    def path(self, to_deg: float, start: State | None = None, speed_deg_s: float | None = None) -> MotionPath:
        """A path in counts from the home edge, within the sheet's limits or slower, to the middle of the target's cell."""
        limits = self.sheet.limits
        assert limits is not None
        assert self.sheet.home is not None
        here = start or State((self.telemetry["reference"] - self.telemetry["origin"]) / FINE)
        origin = self.telemetry["origin"] / FINE
        cell = math.floor((to_deg - self.sheet.home.angle_deg) * self.per_deg + origin)
        speed = speed_deg_s or limits.speed_deg_s
        return plan(
            here,
            cell + 0.5 - origin,
            Limits(*(self.per_deg * value for value in (speed, limits.accel_deg_s2, limits.jerk_deg_s3))),
        )

    def queue(self, motion: int, path: MotionPath, at: int) -> list[str]:
        """Send a path as a queue that starts at a firmware time; the answer to `go`, or the first refusal."""
        origin = self.telemetry["origin"]
        deadline = (at + 200_000) & tick.MASK
        answer = self.ask("plan", motion, deadline, at, len(path.pieces))
        for index, piece in enumerate(path.pieces):
            if answer[0] == "no":
                return answer
            start = replace(piece.start, position=piece.start.position + origin / FINE)
            numbers = (start.position, start.velocity, start.acceleration, piece.jerk)
            answer = self.ask(
                "piece", index, max(1, round(piece.duration * 1e6)), *(round(number * FINE) for number in numbers)
            )
        return self.ask("go", motion, deadline) if answer[0] == "ok" else answer

    def move(self, motion: int, to_deg: float) -> dict[str, Any]:
        """Go to an angle and wait for the end; the telemetry of it."""
        answer = self.queue(motion, self.path(to_deg), self.after(0.1))
        assert answer == ["ok"], answer
        assert self.until(lambda: self.telemetry["ended"] == motion)
        return self.telemetry
