"""What the board keeps over a loss of power: the old text or the new one, never neither."""

import builtins
import random
import subprocess

import pytest

from geartender.firmware.memory import NAMES, Memory
from tests.firmware.interpreter import FIRMWARE, MICROPYTHON, micropython

OLD, NEW = "polarity=1 max_duty=9000", "polarity=-1 max_duty=8000 slew_mv=300"


class PowerLost(Exception):
    """The power went; nothing after this is written."""


class Disk:
    """Stands before the real files: what a write leaves when the power goes after so many bytes."""

    def __init__(self, monkeypatch):
        self.left = None
        self.writes = 0
        self._open = builtins.open
        monkeypatch.setattr(builtins, "open", self.open)

    def open(self, path, mode="r", *rest, **named):
        file = self._open(path, mode, *rest, **named)
        if "w" not in mode or not str(path).endswith(NAMES):
            return file
        self.writes += 1
        return Cut(file, self.left)


class Cut:
    """A file that takes only so many bytes."""

    def __init__(self, file, left):
        self.file, self.left = file, left

    def __enter__(self):
        return self

    def __exit__(self, *error):
        self.file.close()

    def write(self, data):
        if self.left is None or self.left >= len(data):
            return self.file.write(data)
        self.file.write(data[: self.left])
        raise PowerLost


@pytest.fixture
def disk(monkeypatch):
    return Disk(monkeypatch)


@pytest.fixture
def folder(tmp_path):
    return str(tmp_path)


def line_length(text):
    return len(f"2 {text}*00000000\n")


def test_nothing_is_kept_on_a_new_board(folder):
    assert Memory(folder).text is None


def test_what_was_kept_is_there_after_a_start(folder):
    Memory(folder).keep(OLD)
    assert Memory(folder).text == OLD
    Memory(folder).keep(NEW)
    assert Memory(folder).text == NEW


def test_what_has_not_changed_costs_no_write(folder, disk):
    memory = Memory(folder)
    assert memory.keep(OLD)
    assert not memory.keep(OLD)
    assert not Memory(folder).keep(OLD)
    assert disk.writes == 1


@pytest.mark.parametrize("written", range(line_length(NEW)))
def test_power_lost_at_any_byte_leaves_the_old_text(folder, disk, written):
    Memory(folder).keep(OLD)
    disk.left = written
    with pytest.raises(PowerLost):
        Memory(folder).keep(NEW)
    disk.left = None
    assert Memory(folder).text == OLD
    Memory(folder).keep(NEW)
    assert Memory(folder).text == NEW


def test_power_lost_again_and_again_never_loses_both(folder, disk):
    rng = random.Random(4)
    kept = OLD
    Memory(folder).keep(kept)
    for turn in range(300):
        wanted = f"max_duty={turn}"
        disk.left = rng.choice([None, rng.randrange(line_length(wanted) + 3)])
        try:
            Memory(folder).keep(wanted)
            kept = wanted
        except PowerLost:
            pass
        assert Memory(folder).text == kept


@pytest.mark.parametrize("seed", range(20))
def test_a_copy_that_rotted_is_not_believed(folder, tmp_path, seed):
    Memory(folder).keep(OLD)
    Memory(folder).keep(NEW)
    rng = random.Random(seed)
    newest = tmp_path / NAMES[1]
    rotten = bytearray(newest.read_bytes())
    rotten[rng.randrange(len(rotten))] ^= 1 << rng.randrange(8)
    newest.write_bytes(bytes(rotten))
    assert Memory(folder).text == OLD


SCRIPT = """
import sys
sys.path.insert(0, {path!r})
from firmware.memory import Memory
memory = Memory({folder!r})
print(memory.text, memory.keep({text!r}), memory.keep({text!r}), Memory({folder!r}).text)
"""


@micropython
def test_the_interpreter_of_the_board_keeps_it_as_well(folder):
    Memory(folder).keep(OLD)
    script = SCRIPT.format(path=str(FIRMWARE.parent), folder=folder, text=NEW)
    done = subprocess.run([MICROPYTHON, "-c", script], check=True, capture_output=True, text=True)
    assert done.stdout == f"{OLD} True False {NEW}\n"
    assert Memory(folder).text == NEW
