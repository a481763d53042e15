"""The firmware as the chip has it: every file compiles to its machine code, and MicroPython gives what CPython gives."""

import ast
import subprocess

import pytest

from geartender.simulator.board import MACHINE_CODE, stage
from tests.firmware.interpreter import CROSS, FIRMWARE, MICROPYTHON, MODES, micropython, ticked
from tests.firmware.kit import FINE, Bench

FILES = sorted(path.name for path in FIRMWARE.glob("*.py"))
HEADER_FLAGS = 2
"""Byte of a compiled file whose bits 2 to 5 name the machine that its code is for; 0 is none. From memory of the format."""


def compiled(source, target):
    """The bytes of a file compiled for the chip; what the compiler says is the failure."""
    done = subprocess.run([CROSS, "-march=armv6m", "-o", target, source], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return target.read_bytes()


@pytest.mark.parametrize("name", FILES)
def test_every_file_compiles_for_the_chip(name, tmp_path):
    assert compiled(FIRMWARE / name, tmp_path / "out.mpy")[:1] == b"M"


@pytest.mark.parametrize(("name", "least"), [("tick.py", 11), ("registers.py", 3)])
def test_every_function_of_the_tick_is_machine_code(name, least):
    tree = ast.parse((FIRMWARE / name).read_text())
    functions = [node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)]
    assert len(functions) >= least
    for function in functions:
        marks = [ast.unparse(mark) for mark in function.decorator_list]
        assert marks == ["micropython.viper"], f"{function.name} would run interpreted, and take heap in an interrupt"


def test_the_mark_is_what_makes_machine_code_and_the_copy_for_the_interpreter_lacks_it(tmp_path):
    stage(tmp_path)
    copy = tmp_path / "firmware" / "tick.py"
    assert MACHINE_CODE not in copy.read_text()
    assert compiled(FIRMWARE / "tick.py", tmp_path / "with.mpy")[HEADER_FLAGS] >> 2 != 0
    assert compiled(copy, tmp_path / "without.mpy")[HEADER_FLAGS] >> 2 == 0


def day(bench):
    """One of everything; the bytes that were heard of it, tick by tick."""
    bench.arm()
    assert bench.home()["how"] == "done"
    assert bench.move(2, 33.3)["how"] == "done"
    assert bench.move(3, 12.0)["how"] == "done"
    speed = round(10.0 * bench.per_deg * FINE)
    assert bench.ask("turn", 4, bench.after(0.2), speed, 700_000) == ["ok"]
    assert bench.until(lambda: bench.telemetry["ended"] == 4)
    for _ in range(4):
        assert bench.ask("jog", 5, bench.after(0.2), -speed) == ["ok"]
        bench.run(0.1)
    assert bench.until(lambda: bench.telemetry["ended"] == 5)
    assert bench.queue(6, bench.path(60.0), bench.after(0.1)) == ["ok"]
    bench.run(0.8)
    bench.raw("stop 1 1")
    assert bench.until(lambda: bench.telemetry["state"] == "disarmed", 2.0)
    bench.run(0.3)
    bench.arm()
    assert bench.queue(7, bench.path(5.0), bench.after(0.1)) == ["ok"]
    bench.run(0.8)
    bench.sim.command("jam")
    assert bench.until(lambda: bench.telemetry["state"] == "faulted", 2.0)
    assert bench.ask("reset") == ["ok"]
    assert bench.ask("settings")[2] == "0"
    return bench.heard


@micropython
def test_micropython_gives_the_same_bytes_at_every_tick_of_a_day():
    ours, theirs = Bench(), Bench(micropython=True)
    try:
        expected, heard = day(ours), day(theirs)
    finally:
        theirs.sim.close()
    assert sum(map(len, expected)) > 50_000
    for index, (one, other) in enumerate(zip(expected, heard, strict=True)):
        assert one == other, f"tick {index}"


@micropython
@pytest.mark.parametrize("mode", MODES)
def test_a_tick_takes_no_heap(mode):
    """The chip's small integers are shorter, but machine code does not use them; its calls are held to them by test_ranges."""
    assert ticked(MICROPYTHON, mode, 300)["heap"] == 0
