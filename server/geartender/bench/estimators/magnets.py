"""Uneven magnets: where each edge of the disc really lies.

Over many turns at a nearly even speed the disc's place is known from all edges together, much better than from one. Each edge lies
where as many samples of the cell below it are seen above as samples of the cell above it are seen below: with many turns this
is far finer than the way between two samples.
"""

from __future__ import annotations

import itertools

import numpy as np

from geartender.bench.estimators.record import Floats, Ints, Record

TURNS_A_BLOCK = 6
"""Turns over which the speed is taken to follow a parabola: long enough for the unevenness to average out."""

LEAST_SAMPLES = 12
"""Samples of a block at least: the line through it has five parameters."""

MANY_EDGES = 100
"""Edges of a block at most: over more of a fine disc the speed is no line of few parameters."""

SMOOTH_COUNTS = 0.36
"""Counts, standard deviation: 0.29 is what a count leaves open, the rest is unevenness."""

KNOWN_COUNTS = 0.31
"""The same once the unevenness is known: what is left then is a train that still rings from its start."""

SIFTINGS = 2
"""Times that parts which do not fit the table are left out and the table is worked out anew."""

ROUNDS = 4
"""Times that the table is worked out anew with the places that the last one gives."""


def edges(
    records: list[Record], edges_per_turn: int, turns: int = TURNS_A_BLOCK, *, turns_even: bool = True
) -> tuple[Floats, float]:
    """How far each edge lies off its even place, in counts, mean 0; and the standard uncertainty of one.

    Entry k belongs to the edge between the raw counts k - 1 and k, modulo the edges of a turn. So many `turns` are
    fitted as one; less than twice as many raise ValueError. Parts where the speed changes quickly are left out, unless `turns_even`
    is false: a disc with a mark missing never looks even.
    """
    every = blocks = _even_turns(records, edges_per_turn, turns, smooth=turns_even)
    for _ in range(SIFTINGS if turns_even else 0):
        blocks = _evenest(every, _table(blocks, edges_per_turn))
    table = _table(blocks, edges_per_turn)
    one, other = (_table(blocks[part::2], edges_per_turn) for part in (0, 1))
    spread = float(np.sqrt(np.mean((one - other) ** 2))) / 2
    return table, spread


def wide_cell_of_halves(
    records: list[Record], edges_per_turn: int, turns: int, *, turns_even: bool
) -> list[tuple[int, float]]:
    """The widest cell by either half of the turns, as its number and its width in counts.

    A mark that is missing leaves one far wider than the others, in every turn the same; edges that are lost by chance do not.
    """
    blocks = _even_turns(records, edges_per_turn, turns, smooth=turns_even)
    return [_widest(_table(blocks[part::2], edges_per_turn)) for part in (0, 1)]


def _even_turns(records: list[Record], edges_per_turn: int, turns: int, *, smooth: bool) -> list[tuple[Floats, Ints]]:
    turns = min(turns, max(1, MANY_EDGES // edges_per_turn))
    blocks = [block for record in records for block in _blocks(record, edges_per_turn * turns, smooth=smooth)]
    if len(blocks) < 2:
        raise ValueError("too few turns of the disc at an even speed")
    return blocks


def _blocks(record: Record, wanted: int, *, smooth: bool) -> list[tuple[Floats, Ints]]:
    """Parts of a record of whole turns each, as times and counts."""
    away = np.abs(record.count - record.count[0])
    starts = np.searchsorted(away, np.arange(0, int(away[-1]) + 1, wanted))
    found = []
    for first, last in itertools.pairwise(starts):
        t, count = record.t_s[first:last], record.count[first:last]
        if len(t) >= LEAST_SAMPLES and (not smooth or _is_smooth(t, count)):
            found.append((t, count))
    return found


def _is_smooth(t: Floats, count: Ints) -> bool:
    """Whether a line of few parameters follows the counts within what a count leaves open and uneven edges add."""
    span = (t - t.mean()) / (t[-1] - t[0])
    left = count - np.polyval(np.polyfit(span, count, 4), span)
    return float(np.std(left)) < SMOOTH_COUNTS


def _evenest(blocks: list[tuple[Floats, Ints]], table: Floats) -> list[tuple[Floats, Ints]]:
    """The blocks that a smooth line follows with this table, or the better half of them."""
    left = [float(np.std(_middle(count, table) - _place(t, count, table))) for t, count in blocks]
    most = max(KNOWN_COUNTS, float(np.median(left)))
    return [block for block, off in zip(blocks, left, strict=True) if off <= most]


def _table(blocks: list[tuple[Floats, Ints]], edges_per_turn: int) -> Floats:
    table = np.zeros(edges_per_turn)
    for _ in range(ROUNDS):
        places: list[Floats] = []
        cells: list[Ints] = []
        for t, count in blocks:
            place = _place(t, count, table)
            places.append(place)
            cells.append(count)
        table = _balance(np.concatenate(places), np.concatenate(cells), edges_per_turn)
        table -= table.mean()
    return table


def _place(t: Floats, count: Ints, table: Floats) -> Floats:
    """The disc's place over a block: a smooth line through the middles of the cells."""
    span = (t - t.mean()) / (t[-1] - t[0])
    return np.polyval(np.polyfit(span, _middle(count, table), 4), span)


def _middle(count: Ints, table: Floats) -> Floats:
    """The middle of each cell."""
    size = len(table)
    return count + 0.5 + (table[count % size] + table[(count + 1) % size]) / 2


def _balance(place: Floats, count: Ints, size: int) -> Floats:
    """Each edge where it parts the samples of the two cells beside it with as many on the wrong side below as above."""
    table = np.zeros(size)
    for edge in range(size):
        below = place[count % size == (edge - 1) % size] - (count[count % size == (edge - 1) % size] + 1)
        above = place[count % size == edge] - count[count % size == edge]
        table[edge] = _parting(below, above)
    return table


def _parting(below: Floats, above: Floats) -> float:
    """Where a value parts two heaps: as many of the lower above it as of the upper below it."""
    if len(below) == 0 or len(above) == 0:
        return 0.0
    low, high = np.sort(below), np.sort(above)
    if low[-1] <= high[0]:
        return float(low[-1] + high[0]) / 2
    a, b = float(high[0]), float(low[-1])
    for _ in range(30):
        middle = (a + b) / 2
        wrong = (len(low) - np.searchsorted(low, middle)) - np.searchsorted(high, middle)
        if wrong > 0:
            a = middle
        else:
            b = middle
    return (a + b) / 2


def _widest(table: Floats) -> tuple[int, float]:
    widths = 1.0 + np.diff(np.append(table, table[0]))
    at = int(np.argmax(widths))
    return at, float(widths[at])
