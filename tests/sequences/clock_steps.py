"""A clock that is set again and again, by a second to fifty years: no slot fires twice, and none is passed over in silence."""

from __future__ import annotations

import random
from collections import Counter
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from geartender.sequences.lived import COUNTED_MAX, Lived, Timed
from geartender.sequences.slots import Cron, Every, Slots

BEGIN = datetime(2031, 3, 1, 6, 0, tzinfo=UTC)
LONGEST_S = 50 * 365 * 86_400.0


def steps_are_right(seed: int, steps: int) -> Counter[str]:
    """Live through so many steps of the clock, with a restart now and then. Raises AssertionError."""
    dice = random.Random(seed)
    slots: dict[str, Slots] = {
        "hourly": Every(3600),
        "minutes": Every(420),
        "morning": Cron("30 6 * * *", ZoneInfo("Europe/Lisbon")),
    }
    entries = {name: Timed(1, one, timedelta(minutes=30) if name == "morning" else None) for name, one in slots.items()}
    lived, wall, monotonic = Lived(), BEGIN, 0.0
    lived.look(wall, monotonic, entries)
    fired: set[tuple[str, datetime]] = set()
    told: Counter[str] = Counter()
    for _ in range(steps):
        for _ in range(dice.randrange(1, 40)):
            pause = dice.uniform(1, 30)
            before, wall, monotonic = wall, wall + timedelta(seconds=pause), monotonic + pause
            _look(lived, before, wall, monotonic, entries, fired, told)
        if dice.random() < 0.1:
            lived = Lived.from_state(lived.as_state())
            told["restarts"] += 1
        before = wall
        size = timedelta(seconds=10 ** dice.uniform(0, 9.2) % LONGEST_S)
        back = dice.random() < 0.5 and wall - size > BEGIN - timedelta(days=18_000)
        wall = wall - size if back else min(wall + size, BEGIN + timedelta(days=18_000))
        pause = dice.uniform(0.1, 30)
        wall, monotonic = wall + timedelta(seconds=pause), monotonic + pause
        _look(lived, before, wall, monotonic, entries, fired, told)
        told["set back" if back else "set forward"] += 1
    return told


def _look(
    lived: Lived,
    before: datetime,
    wall: datetime,
    monotonic: float,
    entries: dict[str, Timed],
    fired: set[tuple[str, datetime]],
    told: Counter[str],
) -> None:
    found, _ = lived.look(wall, monotonic, entries)
    by_name = {one.name: one for one in found}
    for name, entry in entries.items():
        one = by_name.get(name)
        if one is not None and one.due is not None:
            assert (name, one.due) not in fired, f"{name} ran twice at {one.due}"
            fired.add((name, one.due))
            told["fired"] += 1
        if wall <= before:
            continue
        passed = 0
        for passed, _ in enumerate(entry.slots.between(before, wall), 1):
            if passed > COUNTED_MAX:
                break
        said = 0 if one is None else (one.due is not None) + one.missed + one.again
        assert said >= min(passed, COUNTED_MAX), f"{name}: {passed} slots up to {wall}, {said} told"
        if one is not None:
            told["missed"] += one.missed
            told["again"] += one.again
