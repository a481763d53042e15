"""The display: what goes over the two wires makes the picture that is meant, slice by slice, and a lost display harms nothing."""

from __future__ import annotations

import subprocess
import tempfile
from pathlib import Path

import pytest

from geartender.firmware import names, tick
from geartender.firmware.display import AGAIN_US, COMMANDS, DATA, SLICE, beginning
from geartender.servo.settings import firmware_settings
from geartender.simulator.board import stage
from tests.firmware.interpreter import MICROPYTHON, micropython
from tests.firmware.kit import VENT, sheet_with

WIDTH, HEIGHT = 128, 64
SHEET = sheet_with(VENT, display={"kind": "ssd1306"})
SETTINGS = firmware_settings(SHEET)
MOST_BYTES_A_TURN = SLICE + 1 + 7
TURNS = 60


class Controller:
    """The memory of the display's controller, as its data sheet has it: a window of columns and rows, filled byte by byte."""

    def __init__(self) -> None:
        self.memory = bytearray(b"\xa5" * (WIDTH * HEIGHT // 8))  # after power-up anything may stand there
        self.on = False
        self._columns = self._at = (0, 0)

    def take(self, data: bytes) -> None:
        if data[0] == DATA:
            for byte in data[1:]:
                column, row = self._at
                self.memory[row * WIDTH + column] = byte
                self._at = (column + 1, row) if column < self._columns[1] else (self._columns[0], row + 1)
        elif data[1] == 0x21:
            assert (data[0], data[4]) == (COMMANDS, 0x22)
            self._columns, self._at = (data[2], data[3]), (data[2], data[5])
        else:
            assert data == beginning(HEIGHT)
            self.on = data[-1] == 0xAF

    def line(self, row: int) -> bytes:
        """One row of letters."""
        return bytes(self.memory[row * WIDTH : (row + 1) * WIDTH])


class Shown:
    """What a run of the program under MicroPython wrote: bytes of each turn, what they drew, and how texts look."""

    def __init__(self, texts: tuple[str, ...], turns: int, **given: object) -> None:
        with tempfile.TemporaryDirectory() as name:
            stage(Path(name))
            words = [f"{key}={value}" for key, value in (given | SETTINGS).items()]
            output = subprocess.run(
                [MICROPYTHON, Path(__file__).with_name("shown.py"), name, str(turns), *words],
                check=True,
                capture_output=True,
                text=True,
                input="\n".join(texts),
            ).stdout
        self.controller = Controller()
        self.turns: list[int] = [0]
        self.looks: list[bytes] = []
        for line in output.splitlines():
            first, _, rest = line.partition(" ")
            if first == "turn":
                self.turns.append(0)
            elif first == "text":
                self.looks.append(bytes.fromhex(rest))
            else:
                assert int(first) == SHEET.display.address
                self.turns[-1] += len(rest) // 2
                self.controller.take(bytes.fromhex(rest))


def expect(rows: dict[int, str], **given: object) -> Shown:
    """A picture whose rows of letters are these."""
    shown = Shown(tuple(rows.values()), TURNS, **given)
    assert shown.controller.on
    for row, look in zip(rows, shown.looks, strict=False):
        assert shown.controller.line(row) == look, f"row {row} is not {rows[row]!r}"
    return shown


def lit(line: bytes, pixel_row: int) -> int:
    """Pixels lit in one row of pixels of a row of letters."""
    return sum(byte >> pixel_row & 1 for byte in line)


@micropython
def test_state_angle_and_address() -> None:
    count = 1288
    angle = (count + 0.5) * SETTINGS["ndeg_per_count"] / 1e9
    rows = {0: "READY", 2: f"{angle:.2f} deg", 6: "192.168.1.20:835", 7: "0"}
    expect(rows, label=tick.READY, homed=1, count=count, address="192.168.1.20:8350")


@micropython
def test_below_zero_and_not_homed() -> None:
    expect({2: f"{-9.5 * SETTINGS['ndeg_per_count'] / 1e9:.2f} deg"}, homed=1, count=-10)
    expect({0: "DISARMED", 2: "not homed"})


@micropython
@pytest.mark.parametrize(
    ("cause", "first", "second"),
    [("overload", "Load too high", ""), ("sensor-error", "Disc sensors", "make no sense")],
)
def test_a_fault_stands_there_in_words(cause: str, first: str, second: str) -> None:
    rows = {0: "FAULTED", 6: first, 7: second}
    expect(rows, label=tick.FAULTED, fault=names.CAUSES.index(cause), address="x:1")


def test_every_cause_has_words_that_fit_two_lines() -> None:
    assert len(names.FAULT_WORDS) == len(names.CAUSES)
    for words in names.FAULT_WORDS[1:]:
        assert 0 < len(words) <= 32
        assert words[16:] == words[16:].strip(), "the second line begins with a letter"
        assert len(words) <= 16 or " " in words[15:17] or words[15] == " ", f"{words!r} breaks within a word"


@micropython
@pytest.mark.parametrize(("share", "expected"), [(0.0, 0), (0.5, 63), (1.0, 126), (3.0, 126)])
def test_the_bar_is_as_long_as_the_torque_and_its_frame_ends_at_the_overload(share: float, expected: int) -> None:
    line = expect({}, load=-round(SETTINGS["overload_ma"] * share)).controller.line(4)
    assert lit(line, 0) == WIDTH
    assert lit(line, 3) == pytest.approx(expected + 2, abs=1)


@micropython
def test_a_turn_sends_one_slice_at_most_and_a_picture_that_stands_sends_nothing() -> None:
    shown = Shown((), 300, label=tick.READY)
    assert max(shown.turns[1:]) <= MOST_BYTES_A_TURN
    assert sum(shown.turns[100:]) == 0


@micropython
def test_a_display_that_does_not_answer_is_left_alone_and_begun_anew_when_it_is_back() -> None:
    again = AGAIN_US // 2000
    shown = Shown(("READY",), again + 3 * TURNS, label=tick.READY, lost=100)
    assert sum(shown.turns[:again]) == 0
    assert shown.controller.on
    assert shown.controller.line(0) == shown.looks[0]
