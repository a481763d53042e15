"""A plot as a drawing for paper: thin axes, a thick line, figures at the ends. Pure; no style but attributes."""

from __future__ import annotations

from html import escape

from geartender.bench.models import Plot

WIDTH, HEIGHT = 340, 170
LEFT, RIGHT, TOP, BOTTOM = 46, 8, 18, 30
DASHES = ("", "5 3", "1.5 2.5", "8 3 1.5 3")
"""Kinds of lines by which the series differ, in ink alone."""


def drawing(plot: Plot) -> str:
    """The plot as an SVG element; without points it says so."""
    points = [point for series in plot.series.values() for point in series]
    title = escape(f"{plot.title}, {plot.y_label}" if plot.y_label else plot.title)
    head = (
        f'<svg viewBox="0 0 {WIDTH} {HEIGHT}" role="img" aria-label="{title}" fill="currentColor"'
        ' font-family="sans-serif" font-size="9">'
    )
    parts = [head, f'<text x="{LEFT}" y="11" font-size="10" font-weight="bold">{title}</text>']
    if not points:
        return "".join([*parts, f'<text x="{LEFT}" y="60">No points.</text></svg>'])
    x0, x1 = _span([x for x, _ in points])
    y0, y1 = _span([y for _, y in points])
    across, down = WIDTH - LEFT - RIGHT, HEIGHT - TOP - BOTTOM

    def at(x: float, y: float) -> tuple[float, float]:
        return round(LEFT + (x - x0) / (x1 - x0) * across, 1), round(TOP + down - (y - y0) / (y1 - y0) * down, 1)

    parts += [
        f'<path d="M{LEFT} {TOP}V{TOP + down}H{WIDTH - RIGHT}" fill="none" stroke="currentColor" stroke-width="0.6"/>',
        f'<text x="{LEFT - 4}" y="{TOP + 7}" text-anchor="end">{y1:.4g}</text>',
        f'<text x="{LEFT - 4}" y="{TOP + down}" text-anchor="end">{y0:.4g}</text>',
        f'<text x="{LEFT}" y="{TOP + down + 11}">{x0:.4g}</text>',
        f'<text x="{WIDTH - RIGHT}" y="{TOP + down + 11}" text-anchor="end">{x1:.4g} {escape(plot.x_label)}</text>',
    ]
    for number, (name, series) in enumerate(plot.series.items()):
        placed = [at(x, y) for x, y in series]
        if plot.dots:
            parts += [f'<circle cx="{x}" cy="{y}" r="1.6" fill="currentColor"/>' for x, y in placed]
        elif placed:
            line = "L".join(f"{x} {y}" for x, y in placed)
            dash = f' stroke-dasharray="{DASHES[number % len(DASHES)]}"' if number % len(DASHES) else ""
            parts.append(f'<path d="M{line}" fill="none" stroke="currentColor" stroke-width="1.2"{dash}/>')
        if 1 < len(plot.series) <= len(DASHES):
            place = LEFT + number * across / max(len(plot.series), 1)
            parts.append(f'<text x="{place:.0f}" y="{HEIGHT - 4}" font-size="7">{number + 1} {escape(name)}</text>')
    return "".join([*parts, "</svg>"])


def _span(values: list[float]) -> tuple[float, float]:
    low, high = min(values), max(values)
    return (low, high) if high > low else (low - 0.5, high + 0.5)
