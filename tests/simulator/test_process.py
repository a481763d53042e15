"""The simulator as a program: a real process, a real pseudo-terminal, the firmware of either interpreter behind it."""

import csv
import json
import os
import select
import signal
import subprocess
import sys
import termios
import tty
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import fields
from pathlib import Path

import pytest

from geartender.cli.running import ridge_vent
from geartender.firmware.lines import LineReader, encode
from geartender.firmware.version import PROTOCOL
from geartender.simulator.mechanics import Truth
from tests.firmware.interpreter import micropython

GIVE_UP_S = 20
"""Seconds: for a busy machine; nothing here takes a tenth of it."""


class Program:
    """A simulator that runs, and this end of its link."""

    def __init__(self, folder: Path, *options: str) -> None:
        self.link = folder / "vent"
        self.process = subprocess.Popen(command(folder, *options), stdin=subprocess.PIPE, stdout=subprocess.PIPE)
        self.first = self.line()
        self.port = -1

    def line(self) -> str:
        """The next line of its output."""
        assert self.process.stdout is not None
        assert select.select([self.process.stdout], [], [], GIVE_UP_S)[0], "it says nothing"
        return self.process.stdout.readline().decode()

    def ask(self, text: str) -> dict[str, object]:
        """Give a command, and its answer."""
        assert self.process.stdin is not None
        self.process.stdin.write(text.encode() + b"\n")
        self.process.stdin.flush()
        answer = json.loads(self.line())
        assert isinstance(answer, dict)
        return answer

    def open(self) -> None:
        """Open the link as a serial port."""
        self.port = os.open(self.link, os.O_RDWR | os.O_NOCTTY)
        tty.setraw(self.port, termios.TCSANOW)

    def bodies(self, wanted: Callable[[list[str]], bool]) -> list[str]:
        """Bodies of good lines from the link until there is what is wanted."""
        reader, heard = LineReader(), []
        while not wanted(heard):
            assert select.select([self.port], [], [], GIVE_UP_S)[0], f"the link is silent after {heard[-3:]}"
            heard += reader.feed(os.read(self.port, 4096))
        return heard

    def hung_up(self) -> bool:
        """Read what is left on the link; whether it has ended."""
        try:
            return os.read(self.port, 4096) == b""
        except OSError:
            return True

    def greet(self, number: int = 1) -> list[str]:
        """Open a conversation; the words of the answer."""
        os.write(self.port, encode(f"{number} hello 0badcafe {PROTOCOL}"))
        return self.bodies(lambda heard: any(body.startswith(f"{number} ") for body in heard))[-1].split(" ")

    def until(self, condition: Callable[[], bool]) -> None:
        """Wait for something, by as many questions as it takes."""
        for _ in range(100_000):
            if condition():
                return
            self.ask("truth")
        raise AssertionError("it never came")

    def end(self) -> int:
        """Close its standard input; its exit code."""
        assert self.process.stdin is not None
        self.process.stdin.close()
        return self.process.wait(GIVE_UP_S)


def command(folder: Path, *options: str) -> list[str]:
    given = ["--link", str(folder / "vent"), "--build", str(ridge_vent())]
    return [sys.executable, "-m", "geartender.simulator.process", *given, *options]


@contextmanager
def running(folder: Path, *options: str) -> Iterator[Program]:
    program = Program(folder, *options)
    try:
        yield program
    finally:
        if program.port >= 0:
            os.close(program.port)
        program.process.kill()
        program.process.wait()
        for pipe in (program.process.stdin, program.process.stdout):
            assert pipe is not None
            pipe.close()


def test_it_says_when_it_is_ready_and_ends_with_its_input(tmp_path):
    with running(tmp_path) as program:
        assert program.first == f"ready {program.link}\n"
        assert program.link.is_symlink()
        assert program.end() == 0
        assert not program.link.is_symlink()


def test_commands_are_answered_with_a_line_of_json_each(tmp_path):
    with running(tmp_path) as program:
        truth = program.ask("truth")
        assert list(truth) == [field.name for field in fields(Truth)]
        assert program.ask("jam") == {"ok": True}
        assert program.ask("supply 11") == {"ok": True}
        assert program.ask("reset") == {"ok": True}
        refusal = program.ask("load heavy")
        assert list(refusal) == ["error"]
        assert "load: must be a number" in str(refusal["error"])
        assert "unknown command" in str(program.ask("")["error"])


@pytest.mark.parametrize("options", [(), pytest.param(("--micropython",), marks=pytest.mark.micropython)])
def test_the_firmware_talks_behind_it(tmp_path, options):
    if options and not Path(sys.executable).with_name("micropython").exists():
        pytest.skip("no MicroPython interpreter for this machine")
    with running(tmp_path, "--seed", "5", *options) as program:
        program.open()
        words = program.greet()
        assert words[:4] == ["1", "ok", "0badcafe", str(PROTOCOL)]
        os.write(program.port, encode("2 rate 10"))
        told = program.bodies(lambda heard: sum(body.startswith("~ ") for body in heard) >= 5)
        assert told[-1].split(" ")[2] == "disarmed"
        assert program.ask("reset") == {"ok": True}
        program.bodies(lambda heard: any(" boot " in body for body in heard))
        assert program.greet(9)[6] != words[6], "another boot"
        assert program.end() == 0


def test_it_follows_a_pulse_with_no_host_at_all(tmp_path):
    sheet = tmp_path / "pulsed.toml"
    sheet.write_text(ridge_vent().read_text() + "\n[pulse]\nmay_home = true\n")
    with running(tmp_path, "--build", str(sheet)) as program:
        assert program.ask("pulse 1500") == {"ok": True}
        began = program.ask("truth")["output_deg"]
        program.until(lambda: program.ask("truth")["output_deg"] < began - 0.5)  # it seeks its home, downwards


@micropython
def test_either_interpreter_is_the_same_board(tmp_path):
    answers = []
    for options in ((), ("--micropython",)):
        with running(tmp_path, "--seed", "5", *options) as program:
            program.open()
            answers.append(program.greet())
    assert answers[0] == answers[1]


def test_unplug_takes_the_link_away_for_its_time_and_brings_the_same_board_back(tmp_path):
    with running(tmp_path) as program:
        program.open()
        words = program.greet()
        assert program.ask("unplug 0.3") == {"ok": True}
        program.until(lambda: not program.link.is_symlink())
        program.until(program.hung_up)
        program.until(program.link.is_symlink)
        os.close(program.port)
        program.open()
        again = program.greet(7)
        assert again[5:7] == words[5:7], "board and boot: it was never without power"


def test_it_writes_the_truth_a_hundred_times_a_second(tmp_path):
    path = tmp_path / "truth.csv"
    with running(tmp_path, "--truth", str(path)) as program:
        program.until(lambda: float(str(program.ask("truth")["t_s"])) > 0.5)
        assert program.end() == 0
    rows = list(csv.DictReader(path.read_text().splitlines()))
    assert list(rows[0]) == [field.name for field in fields(Truth)]
    assert len(rows) == pytest.approx(float(rows[-1]["t_s"]) * 100, abs=1)
    assert len(rows) >= 49


def test_an_interrupt_ends_it_and_takes_the_link_away(tmp_path):
    with running(tmp_path) as program:
        program.process.send_signal(signal.SIGINT)
        assert program.process.wait(GIVE_UP_S) == 130
        assert not program.link.is_symlink()


@pytest.mark.parametrize("kind", ["build", "plant"])
def test_a_bad_file_is_named_and_nothing_begins(tmp_path, kind):
    bad = tmp_path / "bad.toml"
    bad.write_text("[motor]\nresistance_ohm = -1\nsupply_v = -1\n")
    done = subprocess.run(
        command(tmp_path, f"--{kind}", str(bad)), stdin=subprocess.DEVNULL, capture_output=True, text=True, check=False
    )
    assert (done.returncode, done.stdout) == (1, "")
    assert bad.name in done.stderr
    assert "motor." in done.stderr
    assert "Traceback" not in done.stderr
    assert not (tmp_path / "vent").is_symlink()
