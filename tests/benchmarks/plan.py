"""What a plan costs, beside the reference library in the same run; or, with --check, how good many random plans are.

python tests/benchmarks/plan.py [--plans N --seed S]
python tests/benchmarks/plan.py --check 100000 [--seed S]
"""

import argparse
import sys
from collections.abc import Callable
from pathlib import Path
from statistics import median, quantiles
from time import perf_counter_ns

sys.path.insert(0, str(Path(__file__).parents[2]))

from geartender.motion import plan
from tests.motion import random_plans


def main() -> int:
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("--plans", type=int, default=20_000)
    options.add_argument("--seed", type=int, default=1)
    options.add_argument("--check", type=int, metavar="N", help="verify N random plans and print the worst figures")
    chosen = options.parse_args()
    return check(chosen.seed, chosen.check) if chosen.check else cost(chosen.seed, chosen.plans)


def check(seed: int, count: int) -> int:
    """Print the worst figures of `count` plans, each with its problem. 1 if one of them is not good enough."""
    worst = random_plans.verify(seed, count)
    print("\n".join(worst.lines()))
    rounding = max(worst.step, worst.end, worst.beyond_limits) <= random_plans.ROUNDING
    good = rounding and worst.slower_than_oracle <= random_plans.SLOWER_ALLOWED
    print("good" if good else "NOT GOOD ENOUGH")
    return 0 if good else 1


def cost(seed: int, count: int) -> int:
    """Print median and p99 of the time for a plan, ours and the reference library's, on the same problems."""
    problems = list(random_plans.problems(seed, count))
    ours = _microseconds(lambda problem: plan(problem.start, problem.target, problem.limits), problems)
    theirs = _microseconds(random_plans.oracle_duration, problems)
    print(f"{count} plans, seed {seed}, µs          median      p99")
    for name, times in (("ours", ours), ("reference library", theirs)):
        print(f"{name:30} {median(times):9.1f} {_p99(times):9.1f}")
    print(f"{'ratio':30} {median(ours) / median(theirs):9.2f} {_p99(ours) / _p99(theirs):9.2f}")
    return 0


def _microseconds(call: Callable[[random_plans.Problem], object], problems: list[random_plans.Problem]) -> list[float]:
    times = []
    for problem in problems:
        begin = perf_counter_ns()
        call(problem)
        times.append((perf_counter_ns() - begin) / 1e3)
    return times


def _p99(times: list[float]) -> float:
    return quantiles(times, n=100)[98]


if __name__ == "__main__":
    sys.exit(main())
