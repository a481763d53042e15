"""Whole numbers that refuse to leave 32 bits, as the chip's machine code would silently do, and count what is done with them."""

import operator
from collections import Counter

from geartender.firmware import tick
from geartender.firmware.core import Core

LOW, HIGH = -(1 << 31), (1 << 31) - 1
SMALL_LOW, SMALL_HIGH = -(1 << 30), (1 << 30) - 1
"""What the chip passes to a function without taking heap."""
COUNTED: Counter[str] = Counter()
"""Operations since the last `clear()`, by name."""


class Overflow(Exception):
    """A number that does not fit."""


class Checked(int):
    """An int whose every result fits 32 bits signed, or raises Overflow with the operation that did not."""


def _checked(name):
    plain = getattr(int, name)

    def operate(self, *others):
        value = plain(self, *others)
        COUNTED[name] += 1
        if not LOW <= value <= HIGH:
            raise Overflow(f"{int(self)} {name} {[int(other) for other in others]} = {value}")
        return Checked(value)

    return operate


def _counted(name):
    plain = getattr(int, name)

    def compare(self, other):
        COUNTED[name] += 1
        return plain(self, other)

    return compare


for _name in ("add", "sub", "mul", "floordiv", "mod", "lshift", "rshift", "and", "or", "xor"):
    for _side in ("", "r"):
        setattr(Checked, f"__{_side}{_name}__", _checked(f"__{_side}{_name}__"))
for _name in ("neg", "abs", "invert"):
    setattr(Checked, f"__{_name}__", _checked(f"__{_name}__"))
for _name in ("lt", "le", "gt", "ge", "eq", "ne"):
    setattr(Checked, f"__{_name}__", _counted(f"__{_name}__"))
Checked.__hash__ = int.__hash__


class Words:
    """The words of an array, taken out as checked numbers and put back only if they fit."""

    def __init__(self, words):
        self._words = words

    def __getitem__(self, index):
        COUNTED["load"] += 1
        return Checked(self._words[operator.index(index)])

    def __setitem__(self, index, value):
        COUNTED["store"] += 1
        if not LOW <= value <= HIGH:
            raise Overflow(f"word {int(index)} = {int(value)}")
        self._words[operator.index(index)] = int(value)


def check_ticks(monkeypatch):
    """Let every core's ticks run on checked numbers, and hold the numbers handed from function to function to small ones."""
    monkeypatch.setattr(
        tick, "int", lambda number: number, raising=False
    )  # the chip's cast keeps 32 bits, and so the check
    monkeypatch.setattr(Core, "tick", lambda core: tick.tick(Words(core.state), Words(core.queue)))
    for name in ("_begin", "_end", "_ramp_to", "_remove", "_fault", "_guard_load", "_drop", "_reverse", "_put"):
        monkeypatch.setattr(tick, name, _with_small_numbers(getattr(tick, name)))


def _with_small_numbers(function):
    def call(state, *numbers):
        for number in numbers:
            if not SMALL_LOW <= number <= SMALL_HIGH:
                raise Overflow(f"{function.__name__} takes {int(number)}, which is heap on the chip")
        return function(state, *numbers)

    return call
