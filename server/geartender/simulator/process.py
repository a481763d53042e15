"""The simulated servo behind a pseudo-terminal, in real time: what `geartender simulate` runs, and `geartender demo`
beside itself.

The board has served before: it holds the settings of its sheet, so that it follows a pulse with no host at all.

Prints `ready PATH` when the link can be opened. Reads commands on standard input, a line each: the fault commands, and
`truth`; answers each with one line of JSON. Started as a child it ends when standard input does, so that it cannot
outlive its parent.
"""

from __future__ import annotations

import argparse
import contextlib
import errno
import json
import os
import select
import sys
import termios
import time
import tty
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path

from geartender.build.files import load_build
from geartender.errors import GeartenderError, PlantError
from geartender.priority import go_first
from geartender.servo.settings import firmware_settings, settings_text
from geartender.simulator.device import SimulatedServo, TruthFile
from geartender.simulator.plant import load_plant

LATE_US = 30_000
"""Microseconds of ticks caught up after the process was held up; what is beyond is left out, as a halted board would."""
CHUNK = 4096


class PseudoTerminal:
    """The cable: a pseudo-terminal whose other end has a steady name."""

    def __init__(self, link: Path) -> None:
        self._link = link
        self._near: int | None = None
        self._far = -1

    @property
    def near(self) -> int | None:
        """File descriptor of the simulator's end, or None while the cable is out."""
        return self._near

    def plug(self) -> None:
        """Make the terminal and its name."""
        self._near, self._far = os.openpty()
        tty.setraw(self._far, termios.TCSANOW)
        os.set_blocking(self._near, False)
        fresh = self._link.with_name(self._link.name + ".new")
        fresh.unlink(missing_ok=True)
        fresh.symlink_to(os.ttyname(self._far))
        fresh.replace(self._link)

    def unplug(self) -> None:
        """Take both away, as pulling the cable does."""
        if self._near is not None:
            self._link.unlink(missing_ok=True)
            os.close(self._near)
            os.close(self._far)
            self._near = None

    def read(self) -> bytes:
        """Bytes that have come, or none."""
        if self._near is None:
            return b""
        try:
            return os.read(self._near, CHUNK)
        except BlockingIOError:
            return b""
        except OSError as error:
            if error.errno == errno.EIO:
                return b""
            raise

    def write(self, data: bytes) -> None:
        """Send bytes; what nobody takes is lost, as on a wire."""
        if self._near is not None and data:
            with contextlib.suppress(BlockingIOError):
                os.write(self._near, data)


class Runner:
    """Keeps a simulated servo in step with real time, its terminal and its standard input."""

    def __init__(self, servo: SimulatedServo, terminal: PseudoTerminal, end_with_input: bool) -> None:
        self._servo = servo
        self._end_with_input = end_with_input
        self._inputs = [sys.stdin.fileno()]
        self._terminal = terminal
        self._began = time.monotonic()
        self._commands = b""

    def run(self) -> None:
        """Run until standard input ends, or for ever."""
        while self._inputs or not self._end_with_input:
            wait = max(0.0, self._servo.next_us / 1e6 - self._elapsed_s())
            watched = self._inputs if self._terminal.near is None else [*self._inputs, self._terminal.near]
            readable, _, _ = select.select(watched, [], [], wait)
            if self._inputs and self._inputs[0] in readable:
                self._take_commands(self._inputs[0])
            if self._terminal.near in readable:
                self._servo.receive(self._terminal.read())
            self._catch_up()

    def _elapsed_s(self) -> float:
        return time.monotonic() - self._began

    def _catch_up(self) -> None:
        now_us = int(self._elapsed_s() * 1e6)
        late = now_us - self._servo.next_us - LATE_US
        if late > 0:
            self._began += late / 1e6
            now_us -= late
        self._servo.advance(now_us)
        if self._servo.unplugged:
            self._terminal.unplug()
        elif self._terminal.near is None:
            self._terminal.plug()
        self._terminal.write(self._servo.take_output())

    def _take_commands(self, descriptor: int) -> None:
        data = os.read(descriptor, CHUNK)
        if not data:
            self._inputs = []
        *lines, self._commands = (self._commands + data).split(b"\n")
        for line in lines:
            print(json.dumps(self._answer(line.decode(errors="replace").strip())), flush=True)

    def _answer(self, command: str) -> dict[str, object]:
        if command == "truth":
            return asdict(self._servo.truth())
        try:
            self._servo.command(command)
        except PlantError as error:
            return {"error": str(error)}
        return {"ok": True}


def run(
    link: Path,
    build: Path,
    plant: Path | None = None,
    seed: int = 0,
    truth: Path | None = None,
    micropython: bool = False,
    end_with_input: bool = False,
) -> None:
    """Run a simulated servo behind the pseudo-terminal `link`. Raises GeartenderError for bad files."""
    go_first()
    sheet = load_build(build)
    servo = SimulatedServo(
        sheet,
        load_plant(plant, sheet) if plant else None,
        seed,
        micropython=micropython,
        kept=None if sheet.missing_to_move else settings_text(firmware_settings(sheet)),
    )
    terminal = PseudoTerminal(link)
    with contextlib.ExitStack() as stack:
        stack.callback(servo.close)
        stack.callback(terminal.unplug)
        if truth is not None:
            file = stack.enter_context(truth.open("w", encoding="utf-8", newline="", buffering=1))
            servo.on_truth = TruthFile(file).write
        terminal.plug()
        print(f"ready {link}", flush=True)
        Runner(servo, terminal, end_with_input).run()


def main(arguments: Sequence[str] | None = None) -> int:
    """The command line of a simulator that runs as a child of the service."""
    parser = argparse.ArgumentParser(prog="geartender.simulator.process")
    parser.add_argument("--link", type=Path, required=True)
    parser.add_argument("--build", type=Path, required=True)
    parser.add_argument("--plant", type=Path)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--truth", type=Path)
    parser.add_argument("--micropython", action="store_true")
    options = parser.parse_args(arguments)
    try:
        run(**vars(options), end_with_input=True)
    except GeartenderError as error:
        print(error, file=sys.stderr)
        return 1
    except KeyboardInterrupt:
        return 130
    return 0


if __name__ == "__main__":
    sys.exit(main())
