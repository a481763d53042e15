"""Every cause of a fault stop over many seeds: what it was called.

python tests/benchmarks/causes.py [--seeds N] [--cause NAME] [--check]
"""

import argparse
import sys
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.firmware.causes import CAUSES


def main() -> int:
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("--seeds", type=int, default=50)
    options.add_argument("--cause", choices=[cause.name for cause in CAUSES])
    options.add_argument("--check", action="store_true", help="fail where one is called by a wrong name")
    given = options.parse_args()
    wrong = 0
    for cause in CAUSES:
        if given.cause in (None, cause.name):
            called = {seed: cause.provoke(seed) for seed in range(given.seeds)}
            astray = [seed for seed, name in called.items() if name not in cause.names]
            wrong += len(astray)
            print(f"{cause.name:18} {dict(Counter(called.values()))}" + (f" wrong: seeds {astray}" if astray else ""))
    return 1 if given.check and wrong else 0


if __name__ == "__main__":
    sys.exit(main())
