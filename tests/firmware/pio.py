"""The assembler of the board for the chip's input/output state machines, as its documentation has it, and an emulator to run it.

Encoding: RP2040 datasheet, section 3.4. JMP 000, WAIT 001, IN 010, PUSH 100, MOV 101 in the top bits; no delays, no side-set.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

PINS, X, Y, NULL, PC, ISR, OSR = 0, 1, 2, 3, 5, 6, 7
X_DEC, Y_DEC, PIN_HIGH = 2, 4, 6
PIN = 1
"""Of a WAIT the source that counts pins from the state machine's first; of a JMP the assembler makes the pin's own condition of it."""
INVERT = 0x08
BLOCK = 0x20
WORDS = 32
"""Instructions in the memory of a PIO block."""


class Assembler:
    """Collects the words of a program; jumps may go to labels that come later."""

    def __init__(self) -> None:
        self.labels: dict[str, int] = {}
        self.words: list[tuple[int, str | None]] = []

    def label(self, name: str) -> None:
        self.labels[name] = len(self.words)

    def jmp(self, condition: int | str, label: str | None = None) -> None:
        if isinstance(condition, str):
            condition, label = 0, condition
        elif condition == PIN:
            condition = PIN_HIGH
        self.words.append((condition << 5, label))

    def mov(self, to: int, source: int) -> None:
        self.words.append((0xA000 | to << 5 | source, None))

    def in_(self, source: int, bits: int) -> None:
        self.words.append((0x4000 | source << 5 | bits & 31, None))

    def push(self, noblock: int) -> None:
        self.words.append((0x8000 | (0 if noblock else BLOCK), None))

    def wait(self, level: int, source: int, index: int) -> None:
        self.words.append((0x2000 | level << 7 | source << 5 | index, None))

    def nop(self) -> None:
        self.mov(Y, Y)

    @property
    def code(self) -> list[int]:
        return [word if label is None else word | self.labels[label] for word, label in self.words]


def assemble(program: Callable[[], None]) -> list[int]:
    """The words of a program, whose names are those of the board's assembler."""
    assembler = Assembler()
    names: dict[str, Any] = {
        name: getattr(assembler, name) for name in ("label", "jmp", "mov", "in_", "push", "wait", "nop")
    }
    names |= {"pins": PINS, "pin": PIN, "x": X, "y": Y, "null": NULL, "pc": PC, "isr": ISR, "osr": OSR}
    names |= {"x_dec": X_DEC, "y_dec": Y_DEC, "noblock": 1, "invert": lambda source: source | INVERT}
    type(program)(program.__code__, names)()
    return assembler.code
