"""The counting program in an emulator of the chip's state machine: every edge counted, both ways, however the edges come."""

import random
from collections.abc import Iterator
from itertools import accumulate, pairwise

import pytest
from pioemu import ShiftRegister, State, emulate

from geartender.firmware.counter import BAD_BITS, COUNT_BITS, LONGEST_LOOP, quadrature
from tests.firmware.pio import WORDS, assemble

PHASES = (0b00, 0b01, 0b11, 0b10)
CODE = assemble(quadrature)
LOOK = CODE.index(0xA0E0)
EDGES = 1_500


def run(changes: list[tuple[int, int]], start: int = 0, *, count: int = 0) -> Iterator[tuple[int, int]]:
    """What the program offers, as count and impossible changes, while the sensors change: `(clock, state)` one after the other."""
    waiting = iter([*changes, (changes[-1][0] + 4 * LONGEST_LOOP, changes[-1][1])])
    at, then = next(waiting)
    now, over = start, False

    def sensors(state: State) -> int:
        nonlocal at, then, now, over
        while state.clock >= at and not over:
            now = then
            at, then = next(waiting, (at, None))
            over = then is None
        return now

    # The board fills X with ones, Y with the count and OSR with the sensors as they are, and starts at address 0.
    begin = State(x_register=2**32 - 1, y_register=count % 2**32, output_shift_register=ShiftRegister(start, 0))
    machine = emulate(
        CODE, stop_when=lambda _, state: over, initial_state=begin, input_source=sensors, shift_isr_right=False
    )
    for _, after in machine:
        if after.receive_fifo:
            yield read(after.receive_fifo.popleft())


def read(word: int) -> tuple[int, int]:
    """Count and impossible changes, unsigned, in a word."""
    return word % 2**COUNT_BITS, (2**BAD_BITS - 1 - (word >> COUNT_BITS)) % 2**BAD_BITS


def walk(steps: list[int], gaps: list[int]) -> tuple[list[tuple[int, int]], int]:
    """The changes of the sensors for steps of the disc, and where the steps end."""
    places = list(accumulate(steps))
    return list(zip(accumulate(gaps), (PHASES[place % 4] for place in places), strict=True)), places[-1]


def random_walk(seed: int, edges: int, shortest: int, longest: int) -> tuple[list[tuple[int, int]], int]:
    """Edges with jitter, in runs of one direction and back, as a disc makes them."""
    rng = random.Random(seed)
    steps: list[int] = []
    while len(steps) < edges:
        steps += [rng.choice((-1, 1))] * rng.choice((1, 2, 5, 40, 300))
    return walk(steps[:edges], [rng.randint(shortest, longest) for _ in range(edges)])


def test_the_words_are_those_of_the_boards_assembler() -> None:
    jump_up, jump_down, jump_bad, jump_publish = 25, 16, 0x40 | 17, 17
    assert CODE[:16] == [
        *(jump_publish, jump_up, jump_down, jump_bad),
        *(jump_down, jump_publish, jump_bad, jump_up),
        *(jump_up, jump_bad, jump_publish, jump_down),
        *(jump_bad, jump_down, jump_up, jump_publish),
    ]
    assert CODE[16:25] == [0x0091, 0xA0C1, 0x4058, 0x8000, 0xA0C3, 0x40E2, 0xA0E0, 0x40E2, 0xA0A6]
    assert CODE[25:] == [0xA04A, 0x009B, 0xA04A, 0x0011, 0xA042, 0xA042, 0xA042]
    assert len(CODE) == WORDS


@pytest.mark.parametrize(("seed", "longest"), [(0, 40), (1, 4), (2, 0)])
def test_every_edge_is_counted_both_ways(seed: int, longest: int) -> None:
    changes, end = random_walk(seed, EDGES, LONGEST_LOOP, LONGEST_LOOP + longest)
    *_, (count, bad) = run(changes)
    assert count == end % 2**COUNT_BITS
    assert bad == 0


@pytest.mark.parametrize(("way", "first"), [(1, -2), (-1, 1)])
def test_the_count_crosses_zero_and_its_wrap(way: int, first: int) -> None:
    changes, end = walk([way] * 5, [20] * 5)
    seen = [count for count, _ in run(changes, count=first)]
    assert seen[0] == first % 2**COUNT_BITS
    assert seen[-1] == (first + end) % 2**COUNT_BITS
    assert {(after - before) % 2**COUNT_BITS for before, after in pairwise(seen)} <= {0, way % 2**COUNT_BITS}


@pytest.mark.parametrize("start", range(4))
@pytest.mark.parametrize("jumps", [1, 3])
def test_both_sensors_at_once_is_counted_as_impossible_and_not_as_a_step(start: int, jumps: int) -> None:
    changes = [(20 * (1 + jump), PHASES[(start + 2 * (1 + jump)) % 4]) for jump in range(jumps)]
    *_, (count, bad) = run(changes, PHASES[start])
    assert (count, bad) == (0, jumps)


def test_impossible_changes_among_good_ones_cost_no_step() -> None:
    rng = random.Random(5)
    steps = [rng.choice((1, 1, 1, -1, 2)) for _ in range(800)]
    changes, _ = walk(steps, [rng.randint(LONGEST_LOOP, 40) for _ in steps])
    *_, (count, bad) = run(changes)
    assert count == sum(step for step in steps if step != 2) % 2**COUNT_BITS
    assert bad == steps.count(2) % 2**BAD_BITS


@pytest.mark.parametrize("start", range(4))
def test_swapped_sensors_count_the_other_way(start: int) -> None:
    changes, end = walk([1] * 9, [20] * 9)
    swapped = [(at, (state & 1) << 1 | state >> 1) for at, state in changes]
    *_, (count, bad) = run(swapped)
    assert (count, bad) == (-end % 2**COUNT_BITS, 0)


def test_it_looks_at_the_sensors_every_few_clocks_whatever_happens() -> None:
    changes, _ = random_walk(1, 500, LONGEST_LOOP, 30)
    looks: list[int] = []
    begin = State(x_register=2**32 - 1, output_shift_register=ShiftRegister(0, 0))
    moving = iter(changes)
    at, now = 0, 0

    def sensors(state: State) -> int:
        nonlocal at, now
        if state.clock >= at:
            at, now = next(moving, (2**40, now))
        if state.program_counter == LOOK:
            looks.append(state.clock)
        return now

    for _ in emulate(
        CODE,
        stop_when=lambda _, state: state.clock > changes[-1][0],
        initial_state=begin,
        input_source=sensors,
        shift_isr_right=False,
    ):
        pass
    gaps = {after - before for before, after in pairwise(looks)}
    assert max(gaps) == LONGEST_LOOP
