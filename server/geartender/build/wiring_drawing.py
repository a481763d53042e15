"""The wiring as a drawing: the microcontroller in the middle, the parts round it, each wire with its pin and what stands in it.

SVG with presentation attributes only, so that it stands alone, prints, and needs no style of its page.
"""

from collections.abc import Iterator
from html import escape
from itertools import groupby

from geartender.build.wiring import Connection, Wiring

WIDTH, ROW, TOP = 860, 46, 40
LEFT_SIDES = ("sensors", "input", "supply")
BOARD_LEFT, BOARD_RIGHT = 350, 510
PART_WIDTH = 130
TEXT = 'font-family="system-ui, sans-serif" font-size="12"'
SMALL = 'font-family="system-ui, sans-serif" font-size="10"'
LINE = 'fill="none" stroke="currentColor" stroke-width="1.2"'
BOX = 'fill="none" stroke="currentColor" stroke-width="2"'


def drawing(plan: Wiring, title: str) -> str:
    """The drawing of a wiring, as an SVG document."""
    left = [each for each in plan.connections if each.side in LEFT_SIDES]
    right = [each for each in plan.connections if each.side not in LEFT_SIDES]
    rows = max(len(left), len(right))
    bottom = TOP + ROW * rows
    power = [_text(20, bottom + 30 + 18 * i, line) for i, line in enumerate([*plan.power, *plan.grounds])]
    height = bottom + 30 + 18 * len(power) + 12
    middle = f"translate({(BOARD_LEFT + BOARD_RIGHT) / 2} {TOP + ROW * rows / 2})"
    body = [
        f'<text x="20" y="20" fill="currentColor" {TEXT} font-weight="600">{escape(title)}</text>',
        f'<rect x="{BOARD_LEFT}" y="{TOP - 12}" width="{BOARD_RIGHT - BOARD_LEFT}" height="{ROW * rows}" {BOX}/>',
        f'<g transform="{middle} rotate(-90)">{_text(0, 0, "Microcontroller", anchor="middle")}</g>',
        *_side(left, is_left=True),
        *_side(right, is_left=False),
        *power,
    ]
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {height}" role="img" '
        f'aria-label="{escape(title, quote=True)}">{"".join(body)}</svg>'
    )


def _side(connections: list[Connection], *, is_left: bool) -> Iterator[str]:
    """The parts of one side, one under the other, and their wires."""
    at = 0
    for part, group in groupby(connections, key=lambda each: each.part):
        wires = list(group)
        x = 20 if is_left else WIDTH - 20 - PART_WIDTH
        height = ROW * len(wires) - 8
        y = TOP + ROW * at - 12
        yield f'<rect x="{x}" y="{y}" width="{PART_WIDTH}" height="{height}" {BOX}/>'
        yield _text(x + 8, y + 14, part)
        for i, wire in enumerate(wires):
            yield from _wire(wire, TOP + ROW * (at + i) + 16, is_left=is_left)
        at += len(wires)


def _wire(wire: Connection, y: float, *, is_left: bool) -> Iterator[str]:
    """A wire from its part to its pin: an arrow for its direction, the parts in it written along it."""
    part_x, board_x = (20 + PART_WIDTH, BOARD_LEFT) if is_left else (WIDTH - 20 - PART_WIDTH, BOARD_RIGHT)
    yield f'<path d="M {part_x} {y} H {board_x}" {LINE}/>'
    inwards = 1 if is_left else -1
    if wire.direction in {"in", "both"}:
        yield _arrow(board_x, y, inwards)
    if wire.direction in {"out", "both"}:
        yield _arrow(part_x, y, -inwards)
    anchor = "end" if is_left else "start"
    yield _text(part_x - 8 * inwards, y + 4, wire.terminal, SMALL, anchor)
    yield _text(board_x + 8 * inwards, y + 4, f"GPIO {wire.gpio}", SMALL, "start" if is_left else "end")
    for i, part in enumerate((wire.parts[0], ", ".join(wire.parts[1:])) if wire.parts else ()):
        yield _text((part_x + board_x) / 2, y - 5 + 17 * i, part, SMALL, "middle")


def _arrow(x: float, y: float, way: int) -> str:
    return f'<path d="M {x} {y} l {-8 * way} -4 v 8 z" fill="currentColor"/>'


def _text(x: float, y: float, text: str, look: str = TEXT, anchor: str = "start") -> str:
    return f'<text x="{x}" y="{y}" text-anchor="{anchor}" fill="currentColor" {look}>{escape(text)}</text>'
