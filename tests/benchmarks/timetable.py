"""Slots in every IANA zone over ten years, and a thousand clocks that are set: `python -m tests.benchmarks.timetable --check`."""

from __future__ import annotations

import argparse
import sys
from datetime import UTC, datetime
from zoneinfo import ZoneInfo, available_timezones

from geartender.sequences.slots import changes, offset_at
from tests.sequences.clock_steps import steps_are_right
from tests.sequences.slot_rules import year_is_right

YEARS = range(2026, 2036)


def clock_of(zone: ZoneInfo, year: int) -> tuple[object, ...]:
    """All that a zone's clock does in a year: its offsets and when they change. Zones alike in it are looked at once."""
    begin, end = datetime(year, 1, 1, tzinfo=UTC), datetime(year + 1, 1, 1, tzinfo=UTC)
    moments = [begin, *changes(zone, begin, end)]
    return tuple(part for moment in moments for part in (moment, offset_at(zone, moment)))


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--check", action="store_true", help="say so by the exit code when something does not hold")
    parser.add_argument("--zones", type=int, default=0, help="only every so many zones")
    arguments = parser.parse_args()
    zones = sorted(available_timezones())[:: arguments.zones or 1]
    wrong: list[str] = []
    clocks: set[tuple[object, ...]] = set()
    changed = 0
    for number, name in enumerate(zones):
        if sys.stderr.isatty():
            print(f"\r{number}/{len(zones)} {name:40}", end="", file=sys.stderr)
        for year in YEARS:
            clock = clock_of(ZoneInfo(name), year)
            changed += len(clock) // 2 - 1
            if clock in clocks:
                continue
            clocks.add(clock)
            try:
                year_is_right(ZoneInfo(name), year)
            except AssertionError as error:
                wrong.append(f"{name} {year}: {error}")
    print(
        f"zones {len(zones)}, years {len(YEARS)}, changes of a clock {changed}, different years {len(clocks)}, wrong {len(wrong)}"
    )
    for line in wrong[:20]:
        print("  ", line)
    tally = steps_are_right(seed=1, steps=1000)
    print("clock steps 1000:", ", ".join(f"{name} {number}" for name, number in tally.items()))
    return 1 if arguments.check and wrong else 0


if __name__ == "__main__":
    sys.exit(main())
