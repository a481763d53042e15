"""A whole simulated servo without I/O or clock: bytes and times in, bytes out."""

from __future__ import annotations

import csv
import math
import random
from collections.abc import Callable
from dataclasses import asdict, fields
from typing import TextIO

from geartender.build.sheet import BuildSheet
from geartender.errors import PlantError
from geartender.simulator.board import DUTY_FULL, Board, CPythonBoard, Inputs, MicroPythonBoard, age_word
from geartender.simulator.mechanics import Mechanics, Truth
from geartender.simulator.plant import Plant, plant_of
from geartender.simulator.pulses import Sender

TICK_US = 2000
"""Microseconds: the firmware's tick."""
TRUTH_TICKS = 5
"""Ticks between two rows of the truth file: 100 Hz."""

PULSE_MAX_US = 10_000
"""Microseconds: longer than any pulse that somebody means, shorter than a frame."""

COMMANDS = {
    "jam": "jam: hold the output where it is",
    "free": "free: let it go again",
    "load": "load NM: let the load resist motion with that torque more, in N·m",
    "push": "push NM: push the output with that torque, in N·m; down if it is below 0",
    "weight": "weight NM: hang a weight on the lever that pulls with that torque where the lever is level, in N·m; 0 takes it off",
    "unplug": "unplug S: pull the cable for so many seconds",
    "reset": "reset: reset the microcontroller",
    "supply": "supply V: set the supply, in volts",
    "pulse": "pulse US: send pulses of that width, in microseconds; pulse off: send none",
    "hand": "hand TURNS: turn the motor's shaft forwards by hand, while it is not driven",
    "drop-edges": "drop-edges P: lose each edge of the disc with this probability, 0 to 1",
}
"""The fault commands, and what each does."""


class SimulatedServo:
    """The firmware on simulated mechanics. `seed` draws the disc's unevenness, the lost edges and the boot ids.

    `kept` is the text of the settings that the firmware finds at its start, as it keeps them itself; None for a new board.
    """

    def __init__(
        self,
        sheet: BuildSheet,
        plant: Plant | None = None,
        seed: int = 0,
        *,
        micropython: bool = False,
        kept: str | None = None,
    ) -> None:
        self.plant = plant or plant_of(sheet)
        down = sheet.home is None or sheet.home.seek == "down"
        self.mechanics = Mechanics(self.plant, down, seed)
        self._kind: type[CPythonBoard] | type[MicroPythonBoard] = MicroPythonBoard if micropython else CPythonBoard
        self._random = random.Random(seed)
        self._board_id = f"simulated-{self._random.randrange(1 << 32):08x}"
        self._kept = kept
        self._board: Board = self._boot()
        self.sender = Sender()
        self._received = bytearray()
        self._sent = bytearray()
        self._duty = 0
        self._driven = False
        self._count_at_boot = 0
        self._plugged_at_us: int | None = None
        self._truth_ticks = 0
        self.next_us = TICK_US
        self.on_truth: Callable[[Truth], None] | None = None

    def _boot(self) -> Board:
        return self._kind(self._board_id, f"{self._random.randrange(1 << 32):08x}", self._kept)

    @property
    def unplugged(self) -> bool:
        """Whether the cable is out: bytes are lost both ways."""
        return self._plugged_at_us is not None

    def receive(self, data: bytes) -> None:
        """Bytes from the host; the firmware sees them at its next tick."""
        if not self.unplugged:
            self._received += data

    def take_output(self) -> bytes:
        """Bytes for the host since the last call."""
        sent = bytes(self._sent)
        self._sent.clear()
        return sent

    def truth(self) -> Truth:
        """What really happens now."""
        return self.mechanics.truth()

    def advance(self, to_us: int) -> None:
        """Run all ticks up to a time of the simulator's own clock, which began at 0."""
        while self.next_us <= to_us:
            self._tick()

    def _tick(self) -> None:
        body = self.mechanics
        body.advance(TICK_US / 1e6, self._duty / DUTY_FULL, self._driven)
        received, self._received = bytes(self._received), bytearray()
        self._duty, self._driven, sent, kept = self._board.tick(
            Inputs(
                body.counts - self._count_at_boot,
                body.home_mark,
                body.supply_mv,
                received,
                self.sender.ended(self.next_us),
                body.levels,
                age_word(body.edge_age_s, TICK_US),
            )
        )
        self._kept = kept or self._kept
        if not self.unplugged:
            self._sent += sent
        elif self._plugged_at_us is not None and self.next_us >= self._plugged_at_us:
            self._plugged_at_us = None
        self._truth_ticks += 1
        if self._truth_ticks == TRUTH_TICKS:
            self._truth_ticks = 0
            if self.on_truth is not None:
                self.on_truth(body.truth())
        self.next_us += TICK_US

    def command(self, text: str) -> None:
        """Do a fault command. Raises PlantError that says what would have been right."""
        words = text.split()
        name = words[0] if words else ""
        if name not in COMMANDS:
            raise PlantError([f"unknown command {name!r}. Give one of: " + "; ".join(COMMANDS.values()) + "."])
        if words == ["pulse", "off"]:
            self.sender.width_us = None
            return
        wanted = COMMANDS[name].split(":")[0].count(" ")
        if len(words) - 1 != wanted:
            raise PlantError([f"{name}: takes {wanted or 'no'} value, got {len(words) - 1}. Write {COMMANDS[name]}."])
        if wanted:
            self._set(name, _number(name, words[1]))
        elif name == "jam":
            self.mechanics.jam()
        elif name == "free":
            self.mechanics.free()
        else:
            self._reset()

    def _set(self, name: str, value: float) -> None:
        body = self.mechanics
        if name == "load":
            body.extra_load_nm = value
        elif name == "push":
            body.push_nm = value
        elif name == "weight":
            body.hung_nm = value
        elif name == "pulse":
            if value > PULSE_MAX_US:
                raise PlantError([f"pulse: must be at most {PULSE_MAX_US}, got {value:g}. It is in microseconds."])
            self.sender.width_us = value
        elif name == "hand":
            body.turn_by_hand(value)
        elif name == "supply":
            body.supply_open_v = value
        elif name == "drop-edges":
            if value > 1.0:
                raise PlantError([f"drop-edges: must be at most 1, got {value:g}. It is a probability."])
            body.drop_share = value
        else:
            self._plugged_at_us = self.next_us + round(value * 1e6)
            self._sent.clear()
            self._received.clear()

    def _reset(self) -> None:
        """Reset the microcontroller: the bridge lets go, the count begins anew."""
        self._board.close()
        self._board = self._boot()
        self._duty, self._driven = 0, False
        self._count_at_boot = self.mechanics.counts

    def close(self) -> None:
        """End what runs the firmware."""
        self._board.close()


class TruthFile:
    """Writes the truth as CSV, one row a call."""

    def __init__(self, file: TextIO) -> None:
        self._writer = csv.DictWriter(file, [field.name for field in fields(Truth)], lineterminator="\n")
        self._writer.writeheader()

    def write(self, truth: Truth) -> None:
        """Append a row; enough digits that a count is never in doubt."""
        row = asdict(truth)
        self._writer.writerow(
            {name: f"{value:.9g}" if isinstance(value, float) else value for name, value in row.items()}
        )


def _number(name: str, word: str) -> float:
    try:
        value = float(word)
    except ValueError:
        value = float("nan")
    signed = name == "push"
    if not math.isfinite(value) or (value < 0.0 and not signed):
        wanted = "a number" if signed else "a number from 0 up"
        raise PlantError([f"{name}: must be {wanted}, got {word!r}. Write {COMMANDS[name]}."])
    return value
