"""What follows from the disc: how finely the motor's turning is counted."""

from geartender.build.tables import Disc

# Two sensors a quarter of a mark apart change four times while one mark passes.
CHANGES_PER_MARK = 4


def counts_per_motor_turn(disc: Disc) -> int:
    """Counts in one turn of the motor."""
    return CHANGES_PER_MARK * disc.marks_per_turn
