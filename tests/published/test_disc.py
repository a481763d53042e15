"""Counting by two sensors against the quadrature decode table.

Structure of the table as in an instrument manual's decoding table; values recomputed [V-calc].
"""

from itertools import pairwise

from geartender.build.disc import CHANGES_PER_MARK
from geartender.firmware.counter import quadrature
from tests.firmware.pio import assemble

# Index (previous AB) · 4 + (present AB); forward 00, 01, 11, 10, 00. None: two bits changed, an edge was missed.
DECODE = [0, 1, -1, None, -1, 0, None, 1, 1, None, 0, -1, None, -1, 1, 0]
FORWARD = [0b00, 0b01, 0b11, 0b10, 0b00]


def counted() -> list[int | None]:
    """What the board's counting program makes of each change, read from the table of jumps that it begins with."""
    table = assemble(quadrature)[:16]
    same, up, down, missed = table[0], table[1], table[2], table[3]
    return [{same: 0, up: 1, down: -1, missed: None}[jump] for jump in table]


def test_the_board_counts_by_the_table() -> None:
    assert counted() == DECODE
    assert [counted().count(each) for each in (0, 1, -1, None)] == [4, 4, 4, 4]


def test_swapped_sensors_count_the_other_way() -> None:
    def swapped(state: int) -> int:
        return (state & 1) << 1 | state >> 1

    for index, step in enumerate(counted()):
        other = counted()[swapped(index >> 2) * 4 + swapped(index & 3)]
        assert other == (None if step is None else -step)


def test_one_mark_passing_two_sensors_makes_four_counts() -> None:
    assert [counted()[before * 4 + now] for before, now in pairwise(FORWARD)] == [1] * CHANGES_PER_MARK
