"""The timing program in an emulator of the chip's state machine: how long ago the newest edge came, whichever way it went."""

import random
from collections.abc import Iterator

from pioemu import State, emulate

from geartender.firmware.age import CLOCK_HZ, LOOP, ROUND, age
from geartender.firmware.registers import AGE_TOP
from geartender.firmware.tick import TICK_AGE, TICK_US
from tests.firmware.pio import assemble

CODE = assemble(age)


def timed(edges: list[int], *, high: bool = False) -> Iterator[tuple[int, int]]:
    """When the program offers a word, and the word, for edges at these clocks."""

    def pin(state: State) -> int:
        return int(high) ^ sum(edge <= state.clock for edge in edges) % 2

    end = edges[-1] + 400
    for _, after in emulate(
        CODE, stop_when=lambda _, state: state.clock > end, input_source=pin, wrap_top=len(CODE) - 1
    ):
        if after.receive_fifo:
            yield after.clock, after.receive_fifo.popleft()


def test_the_words_are_those_of_the_boards_assembler() -> None:
    assert CODE == [0xA02B, 0x00C5, 0xA0C9, 0x8000, 0x0041, 0xA02B, 0xA0C9, 0x8000, 0x0049, 0x00C6]


def test_a_unit_is_four_65536ths_of_a_tick() -> None:
    assert CLOCK_HZ / LOOP * TICK_US / 1e6 == TICK_AGE / ROUND
    assert AGE_TOP == TICK_AGE


def test_the_newest_edge_is_timed_to_two_rounds_whichever_way_it_goes() -> None:
    dice = random.Random(1)
    for high in (False, True):
        edges = [200]
        while len(edges) < 40:
            edges.append(edges[-1] + dice.randrange(4 * LOOP, 300))
        offered = [(clock, word) for clock, word in timed(edges, high=high) if clock > edges[0] + 3 * LOOP]
        assert len(offered) > 500
        for clock, word in offered:
            since = min(clock - edge for edge in edges if edge <= clock)
            if since > 2 * LOOP:  # an edge that came just now is seen at the next round
                assert abs(word * LOOP - since) <= 2 * LOOP
