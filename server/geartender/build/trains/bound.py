"""How little the rest of a train can measure: what lets the search leave out whole families of trains without a look.

The bound for a place depends on the ratio behind it, and only falls as that ratio rises: less is left to reduce, and the teeth are
loaded less. So it is kept in cells of equal logarithm, each holding the value at its upper end, and every position is rounded
upward: what the bound says is then never more than the truth.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import accumulate, chain, repeat
from operator import add

from geartender.build.trains.wheels import Pair

# Width of a cell in the logarithm of the ratio. Finer, the bound is sharper and takes longer to work out; at 0.8 % both are small.
CELL = 0.008
# Logarithms are right to far better than this, in cells; a position this close to an edge counts as beyond it.
EDGE = 1e-6
# More than any train measures, in steps of the module.
OUT_OF_REACH = 1 << 60


def cell_of(ratio: float) -> int:
    """The cell whose bound holds for a ratio."""
    return math.ceil(math.log(ratio) / CELL + EDGE) - 1


def cells_onward(ratio: float) -> int:
    """How many cells a mesh of a ratio leads onward, rounded upward."""
    return cell_of(ratio) + 1


def by_cells_onward(pairs: Iterable[Pair]) -> dict[int, list[Pair]]:
    """The pairs by how far they lead onward, in their order."""
    groups: dict[int, list[Pair]] = {}
    for pair in pairs:
        groups.setdefault(cells_onward(pair.ratio), []).append(pair)
    return groups


@dataclass(frozen=True, slots=True)
class Bound:
    """The least size of the rest of a train by the ratio behind it, in steps of the module times teeth."""

    first: int
    """The cell of the first value; below it the ratio is out of reach."""
    values: Sequence[int]
    """Never rising; the last one stands for everything above."""

    def at(self, ratio: float) -> int:
        """The rest measures at least this behind a ratio."""
        cell = cell_of(ratio) - self.first
        return OUT_OF_REACH if cell < 0 else self.values[min(cell, len(self.values) - 1)]

    def cells(self, first: int, count: int) -> Iterable[int]:
        """The values of so many cells from a given one on."""
        below = min(max(self.first - first, 0), count)
        inside = self.values[max(first - self.first, 0) :][: count - below]
        return chain(repeat(OUT_OF_REACH, below), inside, repeat(self.values[-1], count - below - len(inside)))


def bound_at_motor(low: float) -> Bound:
    """The bound when no mesh is left: nothing more is needed from the ratio `low` on."""
    return Bound(cell_of(low), [0])


def bound_before(rest: Bound, pairs: Mapping[int, Iterable[Pair]], low: float, high: float) -> Bound:
    """The bound with one more mesh, of these pairs, for ratios behind it from low to high; `rest` is what follows it."""
    first, last = cell_of(low), cell_of(high)
    count = last - first + 1
    values = [OUT_OF_REACH] * count
    for steps, group in pairs.items():
        values = list(map(min, values, map(add, _sizes(group, first, count), rest.cells(first + steps, count))))
    return Bound(first, values)


def _sizes(group: Iterable[Pair], first: int, count: int) -> Iterable[int]:
    """The least size of a group of pairs in each cell."""
    sizes = [OUT_OF_REACH] * count
    for pair in group:
        for least, module in pair.gates:
            cell = max(cell_of(least) - first, 0) if least > 0.0 else 0
            if cell < count:
                sizes[cell] = min(sizes[cell], module * pair.size)
    return accumulate(sizes, min)
