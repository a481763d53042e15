"""What must hold of cron slots in any zone, worked out minute by minute from the zone's own clock."""

import itertools
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from geartender.sequences.slots import Cron, changes

HOURS = 20


def year_is_right(zone: ZoneInfo, year: int) -> int:
    """Check the days round each change of a year; gives how many changes there were."""
    begin, end = datetime(year, 1, 1, tzinfo=UTC), datetime(year + 1, 1, 1, tzinfo=UTC)
    found = list(changes(zone, begin, end))
    for moment in found or [begin + timedelta(days=80)]:
        around_is_right(zone, moment - timedelta(hours=HOURS), moment + timedelta(hours=HOURS))
    return len(found)


def around_is_right(zone: ZoneInfo, begin: datetime, end: datetime) -> None:
    """Hold every half hour of the day, and the hourly ones, against what the zone's clock shows."""
    clock = shown(zone, begin, end)
    for hour in range(24):
        for minute in (0, 30):
            fired = set(Cron(f"{minute} {hour} * * *", zone).between(begin, end))
            assert fired == expected(clock, hour, minute), (str(zone), hour, minute)
    hourly = list(Cron("15 * * * *", zone).between(begin, end))
    assert hourly == [moment for moment, local in clock if local.minute == 15 and moment > begin]


def shown(zone: ZoneInfo, begin: datetime, end: datetime) -> list[tuple[datetime, datetime]]:
    """What the clock on the wall shows, minute by minute, later than `begin` up to `end`; the first is `begin` itself."""
    minutes = int((end - begin).total_seconds() // 60)
    moments = [begin + timedelta(minutes=at) for at in range(minutes + 1)]
    return [(moment, moment.astimezone(zone).replace(tzinfo=None)) for moment in moments]


def expected(clock: list[tuple[datetime, datetime]], hour: int, minute: int) -> set[datetime]:
    """The first minute of each day that shows the time; where the hands jump over it, the minute that they jump to."""
    found: dict[datetime, datetime] = {}
    for (_, before), (moment, local) in itertools.pairwise(clock):
        slot = local.replace(hour=hour, minute=minute, second=0)
        for each in (slot - timedelta(days=1), slot):
            if (before < each < local or each == local) and each not in found:
                found[each] = moment
    seen = {local for _, local in clock[:1]}
    return {moment for slot, moment in found.items() if slot not in seen}
