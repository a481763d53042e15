"""Counts very many edges in the emulator of the chip, as quick as they may come, and says whether one was lost.

python tests/benchmarks/counter.py [--edges 1000000] [--seed 7]: some ten minutes for a million.
"""

import argparse
import sys
from collections import deque
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from geartender.firmware.counter import COUNT_BITS, LONGEST_LOOP
from tests.firmware.test_counter import random_walk, run

CHIP_HZ = 125e6


def main() -> int:
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--edges", type=int, default=1_000_000)
    arguments.add_argument("--seed", type=int, default=7)
    given = arguments.parse_args()
    changes, end = random_walk(given.seed, given.edges, LONGEST_LOOP, LONGEST_LOOP + 4)
    count, bad = deque(run(changes), maxlen=1)[0]
    lost = (end - count) % 2**COUNT_BITS
    rate = CHIP_HZ * given.edges / changes[-1][0]
    print(
        f"{given.edges} edges at {rate / 1e6:.1f} million a second of a 125 MHz chip: {lost} lost, {bad} impossible changes seen"
    )
    return 1 if lost or bad else 0


if __name__ == "__main__":
    sys.exit(main())
