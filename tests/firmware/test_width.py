"""The measuring program in an emulator of the chip's state machine: the width, whatever the frame, to far better than 2 µs."""

import random
from collections.abc import Iterator

import pytest
from pioemu import State, emulate

from geartender.firmware.pulse import UNIT
from geartender.firmware.width import CLOCK_HZ, LOOP, width
from tests.firmware.pio import assemble

CODE = assemble(width)
CLOCKS_PER_US = CLOCK_HZ // 1_000_000


def measured(pulses: list[tuple[int, int]], starts_high: bool = False) -> Iterator[float]:
    """What the program offers, in µs, for pulses of (clocks low before, clocks high)."""
    edges = [0]
    for low, high in pulses:
        edges += [edges[-1] + low, edges[-1] + low + high]
    end = edges[-1] + 64

    def pin(state: State) -> int:
        passed = sum(edge <= state.clock for edge in edges[1:])
        return int(starts_high and state.clock < 20) or passed % 2

    for _, after in emulate(
        CODE, stop_when=lambda _, state: state.clock > end, input_source=pin, wrap_top=len(CODE) - 1
    ):
        if after.receive_fifo:
            yield after.receive_fifo.popleft() / UNIT


def test_the_words_are_those_of_the_boards_assembler() -> None:
    assert CODE == [0x2020, 0x20A0, 0xA02B, 0x0044, 0x00C3, 0xA0C9, 0x8000]
    assert CLOCKS_PER_US == LOOP * UNIT, "a word is a width in the pulse's own unit"


def test_every_width_is_measured_to_an_eighth_of_a_microsecond() -> None:
    dice = random.Random(4)
    pulses = [(dice.randrange(40, 400), dice.randrange(900 * CLOCKS_PER_US, 2100 * CLOCKS_PER_US)) for _ in range(3)]
    found = list(measured(pulses))
    assert len(found) == len(pulses)
    for (_, clocks), us in zip(pulses, found, strict=True):
        assert -0.13 <= us - clocks / CLOCKS_PER_US <= 0.07


def test_a_pulse_that_runs_already_is_not_taken_for_a_short_one() -> None:
    assert list(measured([(200, 3200)], starts_high=True)) == [pytest.approx(100, abs=0.2)]


def test_two_pulses_close_together_are_two() -> None:
    assert list(measured([(100, 320), (12, 320)])) == [pytest.approx(10, abs=0.2)] * 2
