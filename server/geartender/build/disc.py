"""What follows from the disc: how finely the motor's turning is counted, and how well its speed is known from the counts."""

import math

from geartender.build.tables import Disc

# Two sensors a quarter of a mark apart change four times while one mark passes.
CHANGES_PER_MARK = 4
# The clock that the time between two counts is taken with ticks this often, in s: the firmware's microseconds.
CLOCK_S = 1e-6
# Counts may be added up over this time to tell the speed, in s; longer, and the control would act on old news.
WINDOW_S = 0.02
# Counts a second that the firmware follows: 64 in a tick of its control, the most that its speed can be. The counter itself, a
# program beside the processor, would follow many more.
COUNTER_HZ = 32_000.0


def counts_per_motor_turn(disc: Disc) -> int:
    """Counts in one turn of the motor."""
    return CHANGES_PER_MARK * disc.marks_per_turn


def by_window(per_count: float, window_s: float = WINDOW_S) -> float:
    """Speed that one count more or less makes, where counts are added up over a window: d / T, at any speed."""
    return per_count / window_s


def by_interval(per_count: float, speed: float, clock_s: float = CLOCK_S) -> float:
    """Speed that one tick of the clock makes, where the time between two counts is taken: v² · dt / d."""
    return speed**2 * clock_s / per_count


def interval_better_below(per_count: float, window_s: float = WINDOW_S, clock_s: float = CLOCK_S) -> float:
    """Speed below which the time between counts tells more than counts in a window: d / √(dt · T)."""
    return per_count / math.sqrt(clock_s * window_s)
