"""The disc by the runs that were recorded: whether a mark is missing, and how many there seem to be."""

from __future__ import annotations

import numpy as np

from geartender.bench.estimators import magnets
from geartender.bench.estimators.record import Record
from geartender.bench.procedures.work import Work
from geartender.bench.session import FoundWrong

CLEAR = 3.0
"""Times its own uncertainty at which a pattern of the disc is clear."""

WIDE_CELL = 2.0
"""Counts of the widest cell from which a mark is missing: it leaves five, uneven magnets a third more than one."""


async def whole_disc(work: Work, records: list[Record]) -> None:
    """One gap far wider than the others is a mark that is missing. Raises FoundWrong."""
    marks = work.session.servo.sheet.disc.marks_per_turn
    if not await work.session.think(lambda: _missing(records, marks - 1)):
        return
    raise FoundWrong(
        "mark-missing",
        "One gap of the disc is far wider than the others.",
        f"A magnet has come loose, or a slot is covered: the disc should have {marks} marks. Put it back.",
    )


def _missing(records: list[Record], marks: int) -> bool:
    """Whether the same cell of every turn is as wide as only a missing mark makes it."""
    if marks < 1:
        return False
    try:
        (at, wide), (again, as_wide) = magnets.wide_cell_of_halves(records, 4 * marks, 2, turns_even=False)
    except ValueError:
        return False
    return at == again and min(wide, as_wide) > WIDE_CELL


def pattern(records: list[Record], marks: int) -> float:
    """How clearly the disc's unevenness repeats with so many marks: its size over what its halves disagree by."""
    try:
        table, spread = magnets.edges(records, 4 * max(marks, 1), 2)
    except ValueError:
        return 0.0
    return float(np.sqrt(np.mean(table**2))) / max(spread, 1e-6)
