"""Field names as a person reads them: a label and a unit. Pure."""

from __future__ import annotations

UNITS = {
    "_deg_s3": "°/s³",
    "_deg_s2": "°/s²",
    "_deg_s": "°/s",
    "_per_60_deg": "s per 60°",
    "_deg": "°",
    "_nm": "N·m",
    "_hz": "Hz",
    "_mpa": "MPa",
    "_ma": "mA",
    "_a": "A",
    "_v": "V",
    "_w": "W",
    "_n": "N",
    "_c": "°C",
    "_s": "s",
}
"""Endings of field names and their units, longer endings before their own ends."""


def label_and_unit(field: str) -> tuple[str, str]:
    """`output_stall_torque_nm` → `Output stall torque`, `N·m`."""
    for ending, unit in UNITS.items():
        if field.endswith(ending):
            return _sentence(field.removesuffix(ending)), unit
    return _sentence(field), ""


def _sentence(name: str) -> str:
    return name.replace("_", " ").capitalize()


def shown(value: object) -> str:
    """A value in as many digits as mean something."""
    if value is None:
        return "–"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:.4g}" if abs(value) < 10_000 else f"{value:.0f}"
    return str(value)


def state_line(snapshot: dict[str, object]) -> str:
    """One line that says what a servo is doing."""
    parts = [f"{snapshot['name']}: {snapshot['state']}"]
    if snapshot["angle_deg"] is None:
        parts.append("position not known")
    else:
        parts.append(f"at {snapshot['angle_deg']:.2f}°")
    if snapshot["state"] in {"moving", "stopping"} and snapshot["target_deg"] is not None:
        parts.append(f"to {snapshot['target_deg']:.2f}°")
    fault = snapshot["fault"]
    if isinstance(fault, dict):
        parts.append(f"{fault['cause']}: {fault['text']} {fault['advice']}")
    return ", ".join(parts)
