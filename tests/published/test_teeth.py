"""Bending of teeth after Lewis against published tables and examples.

[M] the citation is from memory, [V-calc] recomputed from the stated formula.
"""

import pytest

from geartender.build import figures, parse_build
from geartender.build.tables import SpurMesh
from geartender.build.tooth import form_factor, root_stress_mpa, velocity_factor
from geartender.build.train import contact_ratio, hunting, play_mm, undercut
from geartender.errors import NoStrength

# Budynas & Nisbett, Shigley's Mechanical Engineering Design, table 14-2: 20° full-depth teeth loaded at the tip. As six public copies
# have it; the printed table was not seen.
SHIGLEY = {
    12: 0.245, 13: 0.261, 14: 0.277, 15: 0.290, 16: 0.296, 17: 0.303, 18: 0.309, 19: 0.314, 20: 0.322, 21: 0.328, 22: 0.331,
    24: 0.337, 26: 0.346, 28: 0.353, 30: 0.359, 34: 0.371, 38: 0.384, 43: 0.397, 50: 0.409, 60: 0.422, 75: 0.435, 100: 0.447,
    150: 0.460, 300: 0.472, 400: 0.480,
}  # fmt: skip
# The same rack as the upper bound of all teeth.
RACK = 0.485
# A second table, of a design handbook's family, as a public gear-mechanics library keeps it.
HANDBOOK = {
    12: 0.245, 13: 0.264, 14: 0.276, 15: 0.289, 16: 0.295, 17: 0.302, 18: 0.308, 19: 0.314, 20: 0.320, 21: 0.325, 22: 0.330,
    24: 0.337, 26: 0.344, 28: 0.352, 30: 0.358, 32: 0.364, 34: 0.370, 36: 0.377, 38: 0.383, 40: 0.389, 43: 0.394, 45: 0.399,
    50: 0.408, 55: 0.415, 60: 0.421, 65: 0.425, 70: 0.429, 75: 0.433, 80: 0.436, 90: 0.442, 100: 0.446, 150: 0.458, 200: 0.463,
    300: 0.471, 400: 0.478, 500: 0.484,
}  # fmt: skip


@pytest.mark.parametrize(("teeth", "factor"), SHIGLEY.items())
def test_form_factors_are_those_of_the_table(teeth: int, factor: float) -> None:
    assert form_factor(teeth) == pytest.approx(factor, abs=5e-4)


# [V-calc].
@pytest.mark.parametrize(("teeth", "factor"), [(25, 0.3415), (40, 0.3892), (72, 0.4324)])
def test_between_the_rows_the_form_factor_runs_straight(teeth: int, factor: float) -> None:
    assert form_factor(teeth) == pytest.approx(factor, abs=5e-5)


# The two tables differ by at most 1.14 %, at 13 teeth.
@pytest.mark.parametrize(("teeth", "factor"), HANDBOOK.items())
def test_form_factors_agree_with_a_second_table(teeth: int, factor: float) -> None:
    assert form_factor(teeth) == pytest.approx(factor, rel=0.015)


def test_nothing_is_claimed_outside_the_table() -> None:
    assert form_factor(400) <= form_factor(100_000) <= RACK
    with pytest.raises(NoStrength, match="begins at 12 teeth"):
        form_factor(11)


def test_stress_from_a_public_formula_collection() -> None:
    # Ft = 3200 N, b = 30 mm, m = 4 mm, Y = 0.32, Kv = 1: 83.333 MPa.
    assert root_stress_mpa(3200, 30 * 4 * 0.32) == pytest.approx(83.333, abs=5e-4)


def test_stress_of_twelve_teeth_by_way_of_a_build_sheet() -> None:
    # Ft = 100 N, b = 8 mm, m = 1 mm, z = 12, Kv = 1: 51.0204 MPa [V-calc]. 100 N at 6 mm is 0.6 N·m.
    motor = {"supply_v": 12, "no_load_rpm": 3000, "no_load_current_a": 0.1, "stall_torque_nm": 0.6}
    mesh = {
        "kind": "spur",
        "driver_teeth": 12,
        "driven_teeth": 36,
        "module_mm": 1,
        "face_mm": 8,
        "allowable_mpa": 51.0204,
    }
    found = figures(parse_build({"motor": motor, "disc": {"marks_per_turn": 3}, "mesh": [mesh | {"efficiency": 0.9}]}))
    assert found.meshes[0].tooth_force_n == pytest.approx(100, rel=1e-9)
    assert found.meshes[0].root_stress_mpa == pytest.approx(51.0204, abs=5e-5)
    assert found.meshes[0].limit_torque_nm == pytest.approx(found.output_stall_torque_nm, rel=1e-6)


# Barth, cut or milled teeth; Shigley equations 14-4 and 14-6 [M]. A university's toolkit prints the reciprocal, 6.1 / (6.1 + V).
@pytest.mark.parametrize(("speed", "factor"), [(0.02, 1.003279), (0.2, 1.032787), (1, 1.163934), (6.1, 2.0)])
def test_running_teeth_are_loaded_more_not_less(speed: float, factor: float) -> None:
    assert velocity_factor(speed) == pytest.approx(factor, abs=5e-7)
    feet_per_minute = speed / 0.3048 * 60
    assert velocity_factor(speed) == pytest.approx((1200 + feet_per_minute) / 1200, rel=1e-3)


def spur(driver: int, driven: int, **measures: float) -> SpurMesh:
    return SpurMesh(kind="spur", driver_teeth=driver, driven_teeth=driven, **measures)


# Handbooks' formula for 20° full-depth teeth at the standard centre distance; [V-calc], undercut left aside.
@pytest.mark.parametrize(("driver", "driven", "ratio"), [(17, 52, 1.638103), (20, 40, 1.635185)])
def test_contact_ratio(driver: int, driven: int, ratio: float) -> None:
    assert contact_ratio(spur(driver, driven)) == pytest.approx(ratio, rel=1e-6)


def test_a_rack_undercuts_below_eighteen_teeth() -> None:
    # 2 / sin² φ = 17.0973 at 20°.
    assert undercut(spur(17, 52))
    assert not undercut(spur(18, 52))


def test_hunting_teeth() -> None:
    assert hunting(spur(9, 50))
    assert not hunting(spur(12, 45))


# j ≈ 2 · ΔC · tan φ at 20° [V-calc].
@pytest.mark.parametrize(("error", "play"), [(0.05, 0.036397), (0.10, 0.072794)])
def test_axles_too_far_apart_make_play(error: float, play: float) -> None:
    assert play_mm(spur(20, 40, centre_error_mm=error)) == pytest.approx(play, abs=5e-7)
