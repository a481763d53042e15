"""A board made of a real MicroPython interpreter: its files a folder, its USB line a pseudo-terminal, its start that of the chip.

The program of `main.py` runs first; when it has ended, or was put to rest, the interpreter listens. What the interpreter of this machine
lacks of the chip is added: a timer, a number, a restart.
"""

from __future__ import annotations

import contextlib
import os
import subprocess
import threading
import tty
from collections.abc import Iterator
from pathlib import Path

from tests.firmware.interpreter import MICROPYTHON

MACHINE = """
import _thread, os, time

def unique_id():
    return b"\\x01\\x02\\x03\\x04"

def reset():
    os.system("kill -9 $PPID")

class Timer:
    PERIODIC = 1

    def init(self, freq, mode, callback, hard):
        self.on = True
        _thread.start_new_thread(self.turn, (callback,))

    def turn(self, callback):
        while self.on:
            time.sleep_ms(2)
            callback(self)

    def deinit(self):
        self.on = False
"""
START = """
import micropython, sys

class Known:
    const = staticmethod(micropython.const)
    kbd_intr = staticmethod(micropython.kbd_intr)
    alloc_emergency_exception_buf = staticmethod(lambda size: None)

sys.modules["micropython"] = Known
try:
    with open("main.py") as file:
        text = file.read()
except OSError:
    text = ""
exec(text)
"""
CHUNK = 4096


class RealBoard:
    """A board whose files are in `files`, at the serial port `port`."""

    def __init__(self, folder: Path) -> None:
        self.files, self._chip = folder / "files", folder / "chip"
        self.files.mkdir()
        self._chip.mkdir()
        (self._chip / "machine.py").write_text(MACHINE)
        (self._chip / "rp2.py").write_text("")
        (self._chip / "start.py").write_text(START)
        self._near, self._far = os.openpty()
        self._inner, self._console = os.openpty()
        for terminal in (self._far, self._console):
            tty.setraw(terminal)
        self.port = os.ttyname(self._far)
        self._off = False
        self.starts = 0
        self._process: subprocess.Popen[bytes] | None = None
        self._threads = [
            threading.Thread(target=self._power),
            threading.Thread(target=self._carry, args=(self._inner, self._near), daemon=True),
            threading.Thread(target=self._carry, args=(self._near, self._inner), daemon=True),
        ]
        for thread in self._threads:
            thread.start()

    def _power(self) -> None:
        """Start the interpreter whenever it has ended, as a chip does after a reset."""
        path = f"{self._chip}:{self.files}"
        while not self._off:
            self.starts += 1
            self._process = subprocess.Popen(
                [MICROPYTHON, "-i", str(self._chip / "start.py")],
                stdin=self._console,
                stdout=self._console,
                stderr=self._console,
                cwd=self.files,
                env={"MICROPYPATH": path},
            )
            self._process.wait()

    def _carry(self, source: int, target: int) -> None:
        with contextlib.suppress(OSError):
            while True:
                os.write(target, os.read(source, CHUNK))

    def close(self) -> None:
        """Take its power away."""
        self._off = True
        if self._process is not None:
            self._process.kill()
        self._threads[0].join()
        for descriptor in (self._far, self._console, self._near, self._inner):
            os.close(descriptor)


@contextlib.contextmanager
def real_board(folder: Path) -> Iterator[RealBoard]:
    """A board with nothing on it."""
    board = RealBoard(folder)
    try:
        yield board
    finally:
        board.close()
