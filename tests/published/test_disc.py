"""Counting by two sensors against the quadrature decode table.

Structure of the table as in an instrument manual's decoding table; values recomputed [V-calc].
"""

from itertools import pairwise

from geartender.build.disc import CHANGES_PER_MARK

# Index (previous AB) · 4 + (present AB); forward 00, 01, 11, 10, 00. None: two bits changed, an edge was missed.
DECODE = [0, 1, -1, None, -1, 0, None, 1, 1, None, 0, -1, None, -1, 1, 0]


def test_one_mark_passing_two_sensors_makes_four_counts() -> None:
    cycle = [0b00, 0b01, 0b11, 0b10, 0b00]
    counts = [DECODE[before * 4 + now] for before, now in pairwise(cycle)]
    assert counts == [1] * CHANGES_PER_MARK
