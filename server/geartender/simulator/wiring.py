"""What the simulated board sees of the disc and the home mark, through wiring that may be wrong."""

from __future__ import annotations

from geartender.simulator.plant import Plant

GRAY = ((0, 0), (0, 1), (1, 1), (1, 0))
"""Levels of the two sensors over the four cells of a mark, turning forwards."""
_PLACE = {levels: place for place, levels in enumerate(GRAY)}
_STEP = (0, 1, 0, -1)
"""Count for places passed since the last look, modulo four: two at once leave the direction open, and are not counted."""


class Seen:
    """The quadrature counter behind the wires: cells of the disc go in, counts come out."""

    def __init__(self, plant: Plant, cell: int) -> None:
        self._wiring = plant.wiring
        self._marks = plant.disc.marks
        self._missing = plant.disc.missing_mark
        self._cell = cell
        self.count = 0
        self.levels = self._levels(cell)

    def follow(self, cell: int) -> None:
        """The disc has turned to another cell, through all between."""
        way = 1 if cell > self._cell else -1
        while self._cell != cell:
            self._cell += way
            levels = self._levels(self._cell)
            self.count += _STEP[(_PLACE[levels] - _PLACE[self.levels]) % 4]
            self.levels = levels

    def _levels(self, cell: int) -> tuple[int, int]:
        wiring = self._wiring
        a, b = GRAY[cell % 4]
        if self._missing and cell // 4 % self._marks == self._missing - 1:
            a, b = 0, 0
        if wiring.disc_swapped:
            a, b = b, a
        return _STUCK.get(wiring.disc_a, a), _STUCK.get(wiring.disc_b, b)


_STUCK = {"low": 0, "high": 1}
