"""Field names as a person reads them: a label and a unit. Pure."""

from __future__ import annotations

UNITS = {
    "_deg_s3": "°/s³",
    "_deg_s2": "°/s²",
    "_deg_s": "°/s",
    "_nm_per_a": "N·m/A",
    "_per_60_deg": "s per 60°",
    "_deg": "°",
    "_nm": "N·m",
    "_hz": "Hz",
    "_rpm": "1/min",
    "_ohm": "Ω",
    "_mpa": "MPa",
    "_mm": "mm",
    "_m_s": "m/s",
    "_hours": "h",
    "_ma": "mA",
    "_mw": "mW",
    "_a": "A",
    "_v": "V",
    "_w": "W",
    "_n": "N",
    "_c": "°C",
    "_s": "s",
}
"""Endings of field names and their units, longer endings before their own ends."""
LABELS = {
    "deg_per_count": ("Angle of one count", "°"),
    "us_per_deg": ("Width for a degree", "µs/°"),
    "kt_nm_per_a": ("Torque for an ampere", "N·m/A"),
    "seconds_per_60_deg": ("Time for 60°", "s"),
    "accel_deg_s2": ("Acceleration", "°/s²"),
    "at_deg_s": ("At a speed of", "°/s"),
    "by_window_deg_s": ("Step, counting over 20 ms", "°/s"),
    "by_interval_deg_s": ("Step, timing two counts", "°/s"),
    "interval_better_below_deg_s": ("Timing is better below", "°/s"),
    "no_load_output_deg_s": ("No-load speed", "°/s"),
    "output_stall_torque_nm": ("Stall torque", "N·m"),
    "output_max_power_w": ("Greatest power", "W"),
    "max_efficiency": ("Best efficiency of the motor", ""),
    "train_efficiency": ("Efficiency of the train", ""),
    "max_power_w": ("Greatest power", "W"),
    "max_power_rpm": ("… at a speed of", "1/min"),
    "max_power_torque_nm": ("… at a torque of", "N·m"),
    "best_current_a": ("Best efficiency at a current of", "A"),
    "best_torque_nm": ("… at a torque of", "N·m"),
    "best_rpm": ("… at a speed of", "1/min"),
    "electrical_w": ("Electrical power", "W"),
    "reachable": ("Within the bridge's reach", ""),
    "carry_current_a": ("Current to carry", "A"),
    "clamp_mw": ("Power in the clamp", "mW"),
    "series_mw": ("Power in the resistor", "mW"),
    "high_v": ("High level", "V"),
    "low_v": ("Low level", "V"),
    "high_ok": ("Reads high for certain", ""),
    "low_ok": ("Reads low for certain", ""),
    "rise_s": ("Delay rising", "s"),
    "fall_s": ("Delay falling", "s"),
    "count_s": ("Shortest time of a count", "s"),
    "edges_ok": ("Edges quick enough", ""),
    "max_winding_c": ("Highest winding temperature", "°C"),
    "continuous_current_a": ("Current for ever (S1)", "A"),
    "runaway_current_a": ("Runs away from", "A"),
    "driver_outside_mm": ("Driver over the teeth", "mm"),
    "driven_outside_mm": ("Driven over the teeth", "mm"),
    "pitch_line_m_s": ("Pitch-line speed, no load", "m/s"),
    "sliding_m_s": ("Sliding speed, no load", "m/s"),
    "hunting": ("Hunting teeth", ""),
    "suggested_overload_nm": ("Overload torque to set", "N·m"),
    "suggested_overload_current_a": ("… as motor current", "A"),
    "suggested_overload_duty": ("… as duty at a standstill", ""),
    "sudden_stop_at_deg_s": ("Sudden stop from", "°/s"),
    "sudden_stop_torque_nm": ("… makes by the rotor alone", "N·m"),
    "sudden_stop_speed_deg_s": ("Highest speed worth allowing", "°/s"),
    "tooth_force_n": ("Tooth force at a stall", "N"),
    "root_stress_mpa": ("Root stress at a stall", "MPa"),
    "overload_force_n": ("Tooth force at the overload", "N"),
    "overload_stress_mpa": ("Root stress at the overload", "MPa"),
    "allowable_mpa": ("Stress you allow", "MPa"),
    "limit_torque_nm": ("Bears, at the output", "N·m"),
}
"""Names that read badly as they are."""


def label_and_unit(field: str) -> tuple[str, str]:
    """`output_stall_torque_nm` → `Output stall torque`, `N·m`."""
    if field in LABELS:
        return LABELS[field]
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
