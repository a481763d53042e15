"""What carries the firmware's core in the simulator: this interpreter, or a MicroPython one.

Both take the tick's inputs and the bytes from the host, and give duty, bridge and the bytes for the host: the same
numbers in, the same out.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import NamedTuple, Protocol

from geartender import firmware
from geartender.errors import PlantError
from geartender.firmware import tick
from geartender.firmware.age import ROUND
from geartender.firmware.core import Core
from geartender.firmware.keeping import Keeper
from geartender.firmware.registers import AGE_TOP

MACHINE_CODE = "@micropython.viper\n"
"""Left out of the copy that a 64-bit interpreter runs: its machine words would not wrap as the board's do."""

DUTY_FULL = 10_000


def age_word(seconds: float, tick_us: int) -> int:
    """What the firmware is told of an edge that came so many seconds ago, as its own counter on the chip would."""
    return int(min(round(seconds * 1e6 / tick_us * AGE_TOP / ROUND) * ROUND, AGE_TOP))


class Outputs(NamedTuple):
    """What a tick gives."""

    duty: int
    """-10000 to 10000."""
    driven: bool
    sent: bytes
    kept: str | None = None
    """Settings that the firmware has just put by, to find them at its next start."""


class Inputs(NamedTuple):
    """What the board sees in a tick."""

    counts: int
    mark: bool
    supply_mv: int
    received: bytes
    """From the host."""
    pulse: int = 0
    """Width, in 1/16 µs, of a pulse that ended in it; 0: none did."""
    levels: tuple[int, int] = (0, 0)
    """Of the disc's sensors."""
    age: int = AGE_TOP
    """How long ago their newest edge came, in 2^-16 tick."""


class Board(Protocol):
    """Something that runs the firmware, tick by tick."""

    def tick(self, seen: Inputs) -> Outputs:
        """Do one tick and one turn of the main loop."""

    def close(self) -> None:
        """End it."""


class CPythonBoard:
    """The core in this process."""

    def __init__(self, board: str, boot: str, kept: str | None = None) -> None:
        self.core = Core(board, boot)
        self._kept: list[str] = []
        self._keeper = Keeper(self.core, kept, self._kept.append)
        self._levels = (0, 0)
        self.core.look = self._look

    def _look(self) -> int:
        """The sensors' pins; the home sensor's reads at its mark what the sheet says."""
        mark: int = self.core.state[tick.HOME_IN]
        home = mark if self.core.settings.get("home_level") else 1 - mark
        return self._levels[0] | self._levels[1] << 1 | home << 2

    def tick(self, seen: Inputs) -> Outputs:
        """Do one tick and one turn of the main loop."""
        core, state = self.core, self.core.state
        self._levels = seen.levels
        state[tick.COUNT_IN] = seen.counts & tick.MASK
        state[tick.AGE_IN] = seen.age
        state[tick.HOME_IN] = int(seen.mark)
        state[tick.SUPPLY_IN] = seen.supply_mv
        core.tick()
        if seen.pulse:
            core.lead.take(seen.pulse)
        if seen.received:
            core.receive(seen.received)
        sent = core.step()
        kept = self._kept[-1] if self._keeper.step() else None
        return Outputs(state[tick.DUTY_OUT], bool(state[tick.BRIDGE_OUT]), sent, kept)

    def close(self) -> None:
        """Nothing to end."""


class MicroPythonBoard:
    """The core under the MicroPython unix interpreter, in lockstep over a pipe."""

    def __init__(self, board: str, boot: str, kept: str | None = None) -> None:
        command = Path(sys.executable).with_name("micropython")
        found = str(command) if command.exists() else shutil.which("micropython")
        if found is None:
            raise PlantError(["micropython: not found. Install the test extra, or leave --micropython out."])
        self._folder = tempfile.TemporaryDirectory(prefix="geartender-")
        stage(Path(self._folder.name))
        runner = Path(__file__).with_name("micropython_runner.py")
        self._process = subprocess.Popen(
            [found, str(runner), self._folder.name, board, boot],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
        )
        if self._process.stdin is not None:
            self._process.stdin.write((kept or "").encode() + b"\n")

    def tick(self, seen: Inputs) -> Outputs:
        """Do one tick and one turn of the main loop."""
        to, back = self._process.stdin, self._process.stdout
        if to is None or back is None:
            raise PlantError(["micropython: the interpreter has no pipes."])
        pins = seen.levels[0] | seen.levels[1] << 1
        count, received = seen.counts & tick.MASK, seen.received.hex().encode()
        given = (count, seen.mark, seen.supply_mv, received, seen.pulse, pins, seen.age)
        to.write(b"%d %d %d %s %d %d %d\n" % given)
        to.flush()
        words = back.readline().decode().rstrip("\n").split(" ")
        if len(words) != 4:
            raise PlantError([f"micropython: the firmware ended with code {self._process.wait()}."])
        kept = bytes.fromhex(words[3]).decode() or None
        return Outputs(int(words[0]), words[1] == "1", bytes.fromhex(words[2]), kept)

    def close(self) -> None:
        """End the interpreter and remove its copy of the firmware."""
        self._process.kill()
        self._process.wait()
        for pipe in (self._process.stdin, self._process.stdout):
            if pipe is not None:
                pipe.close()
        self._folder.cleanup()


def stage(folder: Path) -> None:
    """Copy the firmware's files to `folder`/firmware, without the mark that asks for machine code."""
    target = folder / "firmware"
    target.mkdir()
    for source in Path(firmware.__file__).parent.glob("*.py"):
        text = source.read_text(encoding="utf-8")
        (target / source.name).write_text(text.replace(MACHINE_CODE, ""), encoding="utf-8")
