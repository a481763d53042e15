"""The figures as a page to pin to the wall: warnings first, then groups of lines, a column for each sheet. Pure."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any, NamedTuple

from geartender.cli.wording import label_and_unit, shown

if TYPE_CHECKING:
    from geartender.build.wiring import Wiring

LABEL = 36
COLUMN = 16
MESH_COLUMN = 11
"""Characters of a label, of a sheet's column of values, and of a mesh's."""
NOTE_WIDTH = 76
SHORT_S = 0.1
"""Times below this are written in smaller units."""
DIFFERS = "≠"
"""Stands behind a line whose values differ between the sheets."""

GROUPS: dict[str, tuple[str, ...]] = {
    "Counting": (
        *(
            "counts_per_motor_turn",
            "gear_ratio",
            "output_sense",
            "counts_per_output_turn",
            "deg_per_count",
            "count_rate_hz",
        ),
        "highest_count_rate_hz",
    ),
    "At the output": (
        *("no_load_output_deg_s", "seconds_per_60_deg", "output_stall_torque_nm", "continuous_torque_nm"),
        *("output_max_power_w", "max_efficiency", "train_efficiency", "self_locking", "backlash_deg"),
    ),
    "What the teeth bear": (
        *("weakest_mesh", "suggested_overload_nm", "suggested_overload_current_a", "suggested_overload_duty"),
        *("sudden_stop_at_deg_s", "sudden_stop_torque_nm", "sudden_stop_speed_deg_s"),
    ),
}
"""Figures that stand by themselves, by the heading that they stand under."""
TABLES = {
    "suggested_limits": "Limits worth setting",
    "working_point": "At the speed limit, against the load",
    "motor": "Motor alone, cold",
    "speed_resolution": "Knowing the speed",
    "supply": "Supply, bridge, wiring",
    "input": "Sensor at the pin",
}
"""Figures that are tables of their own, by name, with their headings."""


class Row(NamedTuple):
    """A line of one column."""

    group: str
    field: str
    label: str
    unit: str
    value: Any


def _row(group: str, field: str, value: Any) -> Row:
    return Row(group, field, *label_and_unit(field), value)


def wall_page(names: list[str], found: list[dict[str, Any]]) -> str:
    """The page for the figures (as JSON has them) of sheets with these names."""
    several = len(found) > 1
    lines: list[str] = []
    for name, one in zip(names, found, strict=True):
        if one["warnings"]:
            lines += [f"First, on {name}", *_folded(one["warnings"], "! "), ""]
    columns = [[*_rows(one), *(_mesh_rows(one) if several else ())] for one in found]
    lines += _table(names, columns, COLUMN)
    if several:
        lines += ["", f"{DIFFERS} differs between the sheets"]
    else:
        meshes = found[0]["meshes"]
        each = [[row._replace(group="Meshes") for row in _mesh(i, mesh)] for i, mesh in enumerate(meshes)]
        lines += ["", *_table([f"mesh[{i}]" for i in range(len(meshes))], each, MESH_COLUMN, compare=False)]
    for name, one in zip(names, found, strict=True):
        notes = [note for note in one["notes"] if note not in one["warnings"]]
        lines += ["", f"Notes on {name}" if several else "Notes", *_folded(notes, "· ")]
    return "\n".join(lines)


def pin_table(plan: Wiring) -> str:
    """A wiring as a page: a line for each pin, then what carries the motor's current, grounds and cautions."""
    arrow = {"in": "→", "out": "←", "both": "↔"}
    lines = [
        f"{each.part + ', ' + each.terminal:<{LABEL}} {arrow[each.direction]} GPIO {each.gpio:<3} {', '.join(each.parts)}".rstrip()
        for each in plan.connections
    ]
    for title, sentences in (("Power", plan.power), ("Grounds", plan.grounds), ("Beware", plan.cautions)):
        lines += ["", title, *_folded(sentences, "· ")]
    return "\n".join(lines)


def _folded(sentences: list[str], mark: str) -> list[str]:
    return [textwrap.fill(each, NOTE_WIDTH, initial_indent=mark, subsequent_indent="  ") for each in sentences]


def _table(names: list[str], columns: list[list[Row]], width: int, *, compare: bool = True) -> list[str]:
    """Columns side by side under their names, in the order in which their rows first come; what none knows is left out."""
    values = [{(row.group, row.field): row.value for row in rows} for rows in columns]
    first = {(row.group, row.field): row for rows in reversed(columns) for row in rows}
    groups = list(dict.fromkeys(row.group for rows in columns for row in rows))
    keys = dict.fromkeys((row.group, row.field) for rows in columns for row in rows)
    lines = [
        " " * LABEL + "".join(f"{name[: width - 1]:>{width}}" for name in names),
        "─" * (LABEL + width * len(names) + 12),
    ]
    shown_group = ""
    # A group that only a later column has stands behind the others'.
    for key in sorted(keys, key=lambda key: groups.index(key[0])):
        cells = [each.get(key) for each in values]
        if all(cell is None for cell in cells):
            continue
        if key[0] != shown_group:
            lines += ["", key[0]] if shown_group else [key[0]]
            shown_group = key[0]
        unit, cells = _readable(first[key].unit, cells)
        texts = [shown(cell) for cell in cells]
        mark = DIFFERS if compare and len(set(texts)) > 1 else ""
        line = f"{'  ' + first[key].label:<{LABEL}}" + "".join(f"{text:>{width}}" for text in texts)
        lines.append(f"{line}  {unit:<10}{mark}".rstrip())
    return lines


def _readable(unit: str, cells: list[Any]) -> tuple[str, list[Any]]:
    """Short times in milliseconds or microseconds."""
    longest = max((cell for cell in cells if isinstance(cell, float)), default=0.0)
    if unit != "s" or not 0.0 < longest < SHORT_S:
        return unit, cells
    unit, scale = ("ms", 1e3) if longest >= SHORT_S / 1e3 else ("µs", 1e6)
    return unit, [None if cell is None else cell * scale for cell in cells]


def _rows(one: dict[str, Any]) -> Iterator[Row]:
    for group, fields in GROUPS.items():
        for field in fields:
            value = one[field]
            if field == "weakest_mesh" and value is not None:
                value = f"mesh[{value}]"
            yield _row(group, field, value)
    for name, group in TABLES.items():
        for field, value in (one[name] or {}).items():
            if not field.endswith("_because"):
                yield _row(group, field, value)
    yield from _heat(one["heat"])
    yield from _pulse(one["pulse"])


def _mesh_rows(one: dict[str, Any]) -> Iterator[Row]:
    for i, mesh in enumerate(one["meshes"]):
        yield from _mesh(i, mesh)


def _mesh(i: int, mesh: dict[str, Any]) -> Iterator[Row]:
    for field, value in mesh.items():
        if field != "no_strength":
            yield _row(f"mesh[{i}]", field, value)


def _heat(heat: dict[str, Any] | None) -> Iterator[Row]:
    if heat is None:
        return
    group = "Warmth of the winding"
    for field in ("ambient_c", "max_winding_c", "continuous_current_a", "runaway_current_a"):
        yield _row(group, field, heat[field])
    for duty in (*heat["s2"], *heat["s3"]):
        yield Row(group, duty["duty_type"], f"Torque in duty {duty['duty_type']}", "N·m", duty["torque_nm"])
    for warming in heat["warming"]:
        load = warming["load"]
        yield Row(group, f"{load}_c", f"In the end, at {load}", "°C", warming["for_ever_c"])
        yield Row(group, f"{load}_s", f"Time to the limit, at {load}", "s", warming["seconds_to_limit"])


def _pulse(pulse: dict[str, Any] | None) -> Iterator[Row]:
    if pulse is None:
        return
    for point in pulse["points"]:
        yield Row("RC pulse", f"{point['width_us']}", f"Angle at {point['width_us']:g} µs", "°", point["angle_deg"])
    yield _row("RC pulse", "us_per_deg", pulse["us_per_deg"])
