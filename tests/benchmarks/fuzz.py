"""Every operation of a demo with made-up requests, valid and invalid: `python -m tests.benchmarks.fuzz [--examples 1000] [--only OPERATION …]`.

Fails when an answer is a server's mistake, when it is not as the description says, or when something moves that nobody was granted.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from pathlib import Path

from tests.api.fuzz import Fuzz
from tests.browser.conftest import running_demo

WALK_STEPS = 30


def main() -> int:
    """Run what was asked for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--examples", type=int, default=1000, help="requests of each operation")
    parser.add_argument("--walks", type=int, default=50, help=f"of {WALK_STEPS} operations each")
    parser.add_argument("--only", nargs="*", default=[])
    given = parser.parse_args()
    began = time.monotonic()
    with tempfile.TemporaryDirectory() as folder, running_demo(Path(folder)) as demo:
        fuzz = Fuzz(demo)
        operations = fuzz.operations()
        for name in given.only or operations:
            fuzz.attack(name, operations[name], given.examples)
            print(f"  {name}: {fuzz.seen.operations[name]} requests, wrong so far {len(fuzz.seen.wrong)}", flush=True)
        fuzz.wander(given.walks, WALK_STEPS)
    statuses = ", ".join(f"{status} {number}" for status, number in sorted(fuzz.seen.statuses.items()))
    print(
        f"operations {len(operations)}, requests {fuzz.seen.operations.total()} ({statuses}), wrong {len(fuzz.seen.wrong)} "
        f"({time.monotonic() - began:.0f} s)"
    )
    for line in fuzz.seen.wrong[:20]:
        print("  ", line)
    return 1 if fuzz.seen.wrong else 0


if __name__ == "__main__":
    sys.exit(main())
