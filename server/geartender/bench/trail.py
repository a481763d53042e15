"""How far the output has turned since a step began to move it: a plot that grows while it does, in bounded room."""

from __future__ import annotations

from geartender.bench.models import Plot

POINTS = 240
"""Points at most: then every second one goes, and the next ones come half as often."""

FIRST_EVERY_S = 0.1
"""s between two points at first; a page looks every 0.7 s."""


class Trail:
    """Grows by looks at the count; `plot` is what there is so far."""

    def __init__(self) -> None:
        self._every_s = FIRST_EVERY_S
        self._next_s = 0.0
        self._points: list[tuple[float, float]] = []

    def look(self, at_s: float, deg: float) -> bool:
        """Take note of a place, where it is time for one; whether it was."""
        if at_s < self._next_s:
            return False
        if len(self._points) >= POINTS:
            self._points = self._points[::2]
            self._every_s *= 2
        self._points.append((round(at_s, 2), round(deg, 3)))
        self._next_s = at_s + self._every_s
        return True

    @property
    def plot(self) -> Plot:
        """The way so far."""
        return Plot(title="So far", x_label="s", y_label="°", series={"turned": list(self._points)})
