"""The figures that driving needs, worked out by hand for a small build."""

import json
import math
from fractions import Fraction
from typing import Any

import pytest

from geartender.build import BuildSheet, figures, load_build, motor_constants, parse_build
from geartender.build.suggest import round_down
from tests.build.test_files import EXAMPLE, LEAST

# The keys of the contract that scripts rely on; there are more.
KEYS = {
    *(
        "counts_per_motor_turn",
        "gear_ratio",
        "counts_per_output_turn",
        "deg_per_count",
        "count_rate_hz",
        "no_load_output_deg_s",
    ),
    *("output_stall_torque_nm", "output_max_power_w", "max_efficiency", "train_efficiency", "self_locking", "meshes"),
    *("weakest_mesh", "suggested_overload_nm", "suggested_overload_current_a", "backlash_deg", "continuous_torque_nm"),
    *("seconds_per_60_deg", "suggested_limits", "sudden_stop_torque_nm", "input", "notes"),
}
MESH_KEYS = {"ratio", "tooth_force_n", "root_stress_mpa", "limit_torque_nm", "contact_ratio", "undercut"}
INPUT_KEYS = {"high_v", "low_v", "clamp_current_ma", "high_ok", "low_ok"}


def sheet(**tables: Any) -> BuildSheet:
    """Two meshes (25/3 in all) that pass 0.8 each; a motor with 100 rad/s, 4 ohm, no losses, 0.36 N·m at stall."""
    least: dict[str, Any] = {
        "motor": {
            "supply_v": 12,
            "no_load_rpm": 3000 / math.pi,
            "no_load_current_a": 0,
            "winding_ohm": 4,
        },
        "disc": {"marks_per_turn": 5},
        "mesh": [
            {"kind": "spur", "driver_teeth": 12, "driven_teeth": 40, "efficiency": 0.8},
            {"kind": "spur", "driver_teeth": 16, "driven_teeth": 40, "efficiency": 0.8},
        ],
    }
    return parse_build(least | tables)


def test_counts_ratio_and_angle_are_exact() -> None:
    found = figures(sheet())
    assert found.counts_per_motor_turn == 20
    assert found.gear_ratio == Fraction(25, 3)
    assert found.counts_per_output_turn == Fraction(500, 3)
    assert found.deg_per_count == Fraction(360 * 3, 500)


def test_speeds_and_torques_follow_from_motor_and_train() -> None:
    found = figures(sheet())
    assert found.count_rate_hz == pytest.approx(20 * 50 / math.pi)
    assert found.no_load_output_deg_s == pytest.approx(100 / (25 / 3) * 180 / math.pi)
    assert found.seconds_per_60_deg == pytest.approx(60 / found.no_load_output_deg_s)
    assert found.train_efficiency == pytest.approx(0.64)
    assert found.output_stall_torque_nm == pytest.approx(0.36 * 25 / 3 * 0.64)


def test_half_of_the_stall_torque_is_suggested_as_overload_with_its_current() -> None:
    found = figures(sheet())
    assert found.suggested_overload_nm == pytest.approx(found.output_stall_torque_nm / 2)
    assert found.suggested_overload_current_a == pytest.approx(1.5)


def test_a_bridge_that_limits_the_current_earlier_lowers_the_suggested_overload() -> None:
    found = figures(sheet(bridge={"current_limit_a": 1.0}))
    assert found.suggested_overload_current_a == pytest.approx(0.8)
    assert found.suggested_overload_nm == pytest.approx(0.8 * 0.12 * 25 / 3 * 0.64)


def test_in_json_the_figures_stand_under_the_contracts_keys() -> None:
    document = json.loads(figures(sheet(input={"sensor_high_v": 3.3})).model_dump_json())
    assert set(document) >= KEYS
    assert set(document["meshes"][0]) >= MESH_KEYS
    assert set(document["input"]) >= INPUT_KEYS
    assert set(document["suggested_limits"]) >= {"speed_deg_s", "accel_deg_s2", "jerk_deg_s3"}
    assert document["gear_ratio"] == pytest.approx(25 / 3)


def test_suggested_limits_leave_margins_of_voltage_and_torque() -> None:
    load = {"inertia_kg_m2": 0.05, "gravity_nm": -0.1, "friction_nm": 0.05}
    built = sheet(load=load)
    found, motor = figures(built), motor_constants(built.motor)
    limits = found.suggested_limits
    assert limits.speed_deg_s <= 0.65 * found.no_load_output_deg_s
    torque = 0.05 * math.radians(limits.accel_deg_s2) + 0.15
    assert torque <= found.suggested_overload_nm / 2 * (1 + 1e-9)
    at_speed = motor.torque_nm(math.radians(limits.speed_deg_s) * 25 / 3) * 25 / 3 * 0.64
    assert torque <= at_speed / 2 * (1 + 1e-9)


def test_the_rotors_inertia_slows_the_suggested_acceleration() -> None:
    light = figures(sheet()).suggested_limits
    heavy = figures(sheet(motor=dict(sheet().motor.model_dump(exclude_none=True), rotor_inertia_kg_m2=1e-3)))
    assert heavy.suggested_limits.accel_deg_s2 < light.accel_deg_s2
    assert heavy.suggested_limits.speed_deg_s == light.speed_deg_s


@pytest.mark.parametrize(
    ("value", "rounded"),
    [(21.42, 21), (0.0219, 0.021), (99.99, 99), (100, 100), (7, 7), (0.03, 0.03), (1234, 1200), (0, 0)],
)
def test_suggestions_have_two_digits_and_are_never_rounded_up(value: float, rounded: float) -> None:
    assert round_down(value) == rounded


def noted(word: str, built: BuildSheet) -> bool:
    return any(word in note for note in figures(built).notes)


def test_what_is_assumed_and_what_is_missing_is_noted() -> None:
    bare = parse_build(LEAST)
    assert noted("90%", bare)
    assert noted("rotor_inertia_kg_m2", bare)
    assert noted("Without [load]", bare)
    assert noted("[home], [travel], [limits]", bare)
    assert not noted("taken to pass", sheet())


def test_a_worm_without_a_friction_is_noted() -> None:
    worm = {"kind": "worm", "starts": 1, "driven_teeth": 40, "lead_angle_deg": 5}
    assert noted("Worms", sheet(mesh=[worm]))
    assert figures(sheet(mesh=[worm])).gear_ratio == 40


def test_what_cannot_work_is_cautioned_against() -> None:
    assert noted("it will not move", sheet(load={"gravity_nm": -50}))
    assert noted("above the stall torque", sheet(overload={"torque_nm": 50}))
    limits = {"speed_deg_s": 600, "accel_deg_s2": 100, "jerk_deg_s3": 1000}
    assert noted("more than the motor can keep up with", sheet(limits=limits))


def test_the_example_is_consistent_and_opens_in_a_few_seconds() -> None:
    built = load_build(EXAMPLE)
    found = figures(built)
    assert built.limits is not None
    assert built.travel is not None
    assert built.travel.max_deg is not None
    assert 3 < built.travel.max_deg / built.limits.speed_deg_s < 8
    assert found.deg_per_count < Fraction(1, 5)
    assert built.limits.speed_deg_s < 0.65 * found.no_load_output_deg_s
    rotor = built.motor.rotor_inertia_kg_m2 or math.inf
    inertia = rotor * float(found.gear_ratio) ** 2 * found.train_efficiency + built.load.inertia_kg_m2
    assert inertia * math.radians(built.limits.accel_deg_s2) < 0.2 * (built.overload.torque_nm or 0)
    assert built.overload.torque_nm is not None
    assert found.weakest_mesh is not None
    bears = found.meshes[found.weakest_mesh].limit_torque_nm
    assert bears is not None
    assert built.overload.torque_nm < bears
