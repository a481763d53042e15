"""A chip that is not there: what the board file asks of `machine`, `rp2` and `micropython`, and what it did with it."""

from __future__ import annotations

import importlib
import sys
from collections import deque
from collections.abc import Iterator
from contextlib import contextmanager
from types import ModuleType, SimpleNamespace
from typing import Any

from geartender.firmware import registers as r

MODULES = ("machine", "rp2", "micropython", "framebuf", "utime")
PERIOD = 6250
"""Steps of the PWM: 125 MHz at 20 kHz."""


class Restarted(Exception):
    """The chip was asked to start anew."""


class Registers:
    """A block of words that a program reads and writes."""

    def __init__(self) -> None:
        self.words: dict[int, int] = {}

    def __getitem__(self, index: int) -> int:
        return self.words.get(index, 0)

    def __setitem__(self, index: int, value: int) -> None:
        self.words[index] = value


class Counter(Registers):
    """The state machine's receive queue: stale words first, then a fresh one each time it is looked at."""

    def __init__(self) -> None:
        super().__init__()
        self.stale: deque[int] = deque()
        self.count, self.bad = 0, 0
        self.running = True
        self.always_full = False  # offers words faster than they are taken
        self._looked = False

    def word(self) -> int:
        return (-1 - self.bad) % 256 << 24 | self.count % 2**24

    def __getitem__(self, index: int) -> int:
        if index == r.PIO_LEVELS:
            if self.stale or self.always_full:
                return (r.FIFO_DEPTH if self.always_full else len(self.stale)) << 4
            # the first look after the queue ran empty finds nothing, as on the chip
            self._looked = not self._looked
            return 1 << 4 if self.running and not self._looked else 0
        assert index == r.PIO_RECEIVED
        return self.stale.popleft() if self.stale else self.word()


class Ages(Registers):
    """The receive queues of the two machines that time the sensors: stale words first, then a fresh one each time."""

    def __init__(self) -> None:
        super().__init__()
        self.rounds = [r.AGE_TOP, r.AGE_TOP]
        self.stale: list[deque[int]] = [deque(), deque()]
        self.running = True
        self.always_full = False
        self._looked = [False, False]

    def __getitem__(self, index: int) -> int:
        if index != r.PIO_LEVELS:
            machine = index - r.PIO_RECEIVED - 1
            return self.stale[machine].popleft() if self.stale[machine] else self.rounds[machine]
        levels = 0
        for machine, stale in enumerate(self.stale):
            self._looked[machine] = not self._looked[machine]
            waiting = len(stale) or int(self.running and not self._looked[machine])
            waiting = r.FIFO_DEPTH if self.always_full else waiting
            levels |= waiting << 8 * machine + 12
        return levels


class Pins(Registers):
    """The pins as the processor sees them: levels in, set and clear out."""

    def __init__(self) -> None:
        super().__init__()
        self.out = 0

    def __setitem__(self, index: int, value: int) -> None:
        if index == r.SIO_SET:
            self.out |= value
        elif index == r.SIO_CLEAR:
            self.out &= ~value
        else:
            super().__setitem__(index, value)


class Chip:
    """The modules of the board; everything asked of them is in `log`, in order."""

    def __init__(self) -> None:
        self.log: list[tuple[Any, ...]] = []
        self.fed = 0
        self.us, self.tick_us = 0, 300
        self.callback: Any = None
        self.received = deque[bytes]()
        self.sent = b""
        self.widths = deque[int]()

    def modules(self) -> dict[str, ModuleType]:
        made = {name: ModuleType(name) for name in MODULES}
        made["framebuf"].__dict__.update(FrameBuffer=self._thing("FrameBuffer"), MONO_VLSB=0)
        made["machine"].__dict__.update(self._machine())
        made["rp2"].__dict__.update(
            asm_pio=lambda **options: lambda program: self._note("asm_pio", options) or program,
            StateMachine=self._thing(
                "StateMachine", rx_fifo=lambda _: len(self.widths), get=lambda _: self.widths.popleft()
            ),
            PIO=SimpleNamespace(SHIFT_LEFT=0, JOIN_RX=2),
        )
        made["utime"].__dict__.update(ticks_us=self._us, ticks_diff=lambda late, early: late - early)
        made["micropython"].__dict__.update(
            const=lambda value: value,
            viper=lambda function: function,
            alloc_emergency_exception_buf=lambda size: None,
            kbd_intr=lambda character: self._note("kbd_intr", character),
        )
        return made

    def _us(self) -> int:
        """The chip's clock, which goes on by what a tick takes at each look."""
        self.us += self.tick_us
        return self.us

    def names(self) -> list[str]:
        return [entry[0] for entry in self.log]

    def _note(self, *entry: Any) -> None:
        self.log.append(entry)

    def _thing(self, name: str, **more: Any) -> Any:
        chip = self

        class Thing:
            def __init__(self, *args: Any, **named: Any) -> None:
                chip._note(name, *[getattr(arg, "args", arg) for arg in args], named)
                self.args = args

            def __getattr__(self, method: str) -> Any:
                return lambda *args, **named: chip._note(f"{name}.{method}", self.args, *args)

        for key, value in more.items():
            setattr(Thing, key, value)
        return Thing

    def _machine(self) -> dict[str, Any]:
        def restart() -> None:
            raise Restarted

        def feed(_: Any) -> None:
            self.fed += 1

        def init(_: Any, *, callback: Any, freq: int, hard: bool, mode: int) -> None:
            assert (freq, hard) == (500, True)
            self.callback = callback

        def read(_: Any, size: int) -> bytes:
            return self.received.popleft()

        def write(_: Any, data: bytes) -> None:
            self.sent += data

        return {
            "Pin": self._thing("Pin", IN=0, OUT=1, PULL_UP=2, PULL_DOWN=3),
            "PWM": self._thing("PWM"),
            "ADC": self._thing("ADC", read_u16=lambda _: 0x4000),
            "WDT": self._thing("WDT", feed=feed),
            "Timer": self._thing("Timer", PERIODIC=1, init=init),
            "I2C": self._thing("I2C"),
            "UART": self._thing("UART", any=lambda _: len(self.received), read=read, write=write),
            "mem32": _Memory(),
            "unique_id": lambda: b"\x01\x02\x03\x04",
            "reset": restart,
        }


class _Memory:
    """The chip's words by address: only the PWM's period is read so."""

    def __getitem__(self, address: int) -> int:
        return PERIOD - 1


@contextmanager
def board_file(chip: Chip) -> Iterator[Any]:
    """The board file, imported on top of a chip that is not there."""
    before = {name: sys.modules.get(name) for name in MODULES}
    sys.modules.update(chip.modules())
    try:
        yield importlib.reload(importlib.import_module("geartender.firmware.board"))
    finally:
        sys.modules.pop("geartender.firmware.board", None)
        for name, module in before.items():
            if module is None:
                sys.modules.pop(name, None)
            else:
                sys.modules[name] = module
