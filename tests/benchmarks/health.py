"""Whether wear is noticed before it trips anything, and weather, wind and other moves are not: weeks of seeded machines on virtual time.

python -m tests.benchmarks.health [--seeds N] [--check]
"""

from __future__ import annotations

import argparse
import sys

from geartender.build import BuildSheet
from tests.bench.weeks import Life, Wear, free_lever, live
from tests.servo.rig import vent

DAYS = 56
FROM_DAY = 14
CASES: dict[str, tuple[BuildSheet, Wear, str | None]] = {
    "friction +8 % a week": (vent(), Wear(friction_a_week=0.08, from_day=FROM_DAY), "vent-friction_nm"),
    "friction +20 % a week": (vent(), Wear(friction_a_week=0.20, from_day=FROM_DAY), "vent-friction_nm"),
    "friction doubles each week": (vent(), Wear(friction_a_week=1.0, from_day=FROM_DAY), "vent-friction_nm"),
    "play +30 % a week": (free_lever(), Wear(play_a_week=0.30, from_day=FROM_DAY), "vent-play_counts"),
    "weather and wind alone": (vent(), Wear(), None),
    "weather alone, balanced leaf": (free_lever(), Wear(), None),
}


def right(life: Life, wanted: str | None) -> bool:
    """Whether it said what it had to, in time, and nothing else."""
    if wanted is None:
        return not life.noticed
    day = life.noticed.get(wanted)
    others = set(life.noticed) - {wanted}
    return day is not None and day >= FROM_DAY and not others and (life.tripped is None or day < life.tripped)


def main() -> None:
    """Print a line a case, and with --check fail where one is wrong."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--seeds", type=int, default=6)
    parser.add_argument("--check", action="store_true")
    asked = parser.parse_args()
    wrong = 0
    for name, (sheet, wear, wanted) in CASES.items():
        lives = [live(DAYS, wear, seed, sheet, restart_every=9) for seed in range(1, asked.seeds + 1)]
        good = sum(right(life, wanted) for life in lives)
        wrong += len(lives) - good
        days = [life.noticed.get(wanted or "", None) for life in lives]
        trips = [life.tripped for life in lives]
        kept = max(life.kept_bytes for life in lives)
        print(
            f"{name:32} right {good}/{len(lives)}  wear from day {FROM_DAY}, noticed {days}, tripped {trips}, at most {kept} bytes kept"
        )
        for life in lives:
            if not right(life, wanted):
                print("    ", life.noticed, life.tripped, life.texts)
    sys.exit(1 if asked.check and wrong else 0)


if __name__ == "__main__":
    main()
