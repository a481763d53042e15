"""What is wrong with a build is said first, in one plain sentence; what was assumed, after it."""

from typing import Any

import pytest

from geartender.build import BuildSheet, figures
from tests.build.test_strength import MOTOR, sheet, spur, worm

STRONG = {"module_mm": 2, "face_mm": 20, "allowable_mpa": 40}
WEAK = {"module_mm": 0.5, "face_mm": 3, "allowable_mpa": 10}
HEALTHY = {"input": {"sensor_high_v": 3.3, "series_ohm": 470}, "overload": {"torque_nm": 0.1}}


def first(built: BuildSheet) -> str:
    return figures(built).notes[0]


def test_a_healthy_build_has_no_warning() -> None:
    assert figures(sheet(spur(12, 60, **STRONG), **HEALTHY)).warnings == []


def test_warnings_come_first_among_the_notes() -> None:
    found = figures(sheet(spur(12, 60, **WEAK), spur(12, 60, **WEAK)))
    assert found.warnings
    assert found.notes[: len(found.warnings)] == found.warnings
    assert len(found.notes) > len(found.warnings)


def circuit(**values: float) -> dict[str, Any]:
    return {"input": {"sensor_high_v": 3.3} | values}


LIMITS = {"accel_deg_s2": 100, "jerk_deg_s3": 1000}
FAST = {"speed_deg_s": 500} | LIMITS
WARM = MOTOR | {"max_winding_c": 80, "thermal_k_per_w": 20}


@pytest.mark.parametrize(
    ("tables", "words"),
    [
        ({"disc": {"marks_per_turn": 200}}, "counts would be lost. Use fewer marks"),
        ({"mesh": [spur(12, 60, **WEAK)]}, "only the overload guard keeps them whole"),
        ({"mesh": [spur(12, 60, **WEAK)], "overload": {"torque_nm": 3}}, "they break before it stops"),
        (
            {
                "mesh": [spur(12, 60, **STRONG)],
                "motor": MOTOR | {"rotor_inertia_kg_m2": 1e-3},
                "load": {"stiffness_nm_per_deg": 50},
            },
            "the rotor alone makes",
        ),
        (circuit(sensor_high_v=5.0), "above their supply"),
        (circuit(sensor_high_v=1.5), "too low to read high"),
        (circuit(sensor_low_v=1.2), "too high to read low"),
        (
            circuit(sensor_high_v=5.0, clamp_v=3.3),
            "has no resistor before it: sensor or diode burn. Fit one, 1700 Ω for 1 mA.",
        ),
        (circuit(sensor_high_v=12.0, series_ohm=50, clamp_v=3.3), "takes 574 mW, and small ones stand 250: use 115 Ω"),
        (circuit(series_ohm=100_000, capacitor_f=1e-6), "delays the edges longer than a count lasts"),
        (circuit(sensor_low_v=0.8, series_ohm=3000, capacitor_f=1e-9), "never quite gets to where the pin reads low"),
        ({"load": {"gravity_nm": -50}}, "it will not move"),
        ({"overload": {"torque_nm": 50}}, "above the stall torque"),
        ({"limits": FAST | {"speed_deg_s": 4500}}, "more than the motor can keep up with"),
        (
            {"motor": WARM, "load": {"friction_nm": 0.12}, "overload": {"torque_nm": 0.15}},
            "without pauses it overheats",
        ),
        (
            {"bridge": {"current_limit_a": 0.05}, "limits": FAST, "overload": {"torque_nm": 0.01}},
            "more than the bridge gives",
        ),
    ],
)
def test_what_is_wrong_is_said_first(tables: dict[str, Any], words: str) -> None:
    found = figures(sheet(*tables.pop("mesh", [spur(12, 60)]), **tables))
    assert any(words in warning for warning in found.warnings), found.warnings
    assert found.notes[0] == found.warnings[0]


@pytest.mark.parametrize(
    ("tables", "words"),
    [
        ({"mesh": [spur(12, 60, **STRONG)]}, "allowable_mpa is your own number"),
        ({"mesh": [spur(12, 60, **STRONG)]}, "creep under a standing load, and part along the layers"),
        ({"mesh": [spur(9, 60, **STRONG)]}, "No strength is claimed for mesh[0]"),
        ({"mesh": [spur(12, 60)]}, "follows from the motor alone"),
        ({"mesh": [spur(12, 60)]}, "are thinned in mesh[0]: below 18 teeth"),
        ({"mesh": [spur(4, 5)]}, "pairs of teeth in contact"),
        ({"mesh": [worm()]}, "is no brake"),
        ({"mesh": [worm(friction=0.09)]}, "by a margin of only"),
        (circuit(sensor_high_v=5.0, series_ohm=3000, clamp_v=3.0), "soft knee"),
        ({"supply": {"kind": "battery"}}, "Without capacity_ah"),
        (
            {"supply": {"kind": "battery", "capacity_ah": 7, "peukert_exponent": 1.2}},
            "Peukert's law is used from 0.35 A on",
        ),
        ({"supply": {"kind": "battery", "capacity_ah": 0.01, "standby_w": 1}}, "the battery lasts"),
        ({"supply": {"highest_v": 11}}, "below motor.supply_v"),
    ],
)
def test_what_is_assumed_or_dangerous_is_noted(tables: dict[str, Any], words: str) -> None:
    found = figures(sheet(*tables.pop("mesh", [spur(12, 60)]), **tables))
    assert any(words in note for note in found.notes), found.notes
    assert not any(words in warning for warning in found.warnings)
