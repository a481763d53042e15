"""What the teeth bear, in the train: properties that hold for any build."""

import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from geartender.build import BuildSheet, figures, parse_build
from geartender.build.strength import sudden_stop_nm

MOTOR = {"supply_v": 12, "no_load_rpm": 4000, "no_load_current_a": 0.1, "winding_ohm": 8}
TEETH = st.integers(12, 120)
SIZES = st.floats(0.5, 4.0)


def spur(driver: int, driven: int, **measures: Any) -> dict[str, Any]:
    return {"kind": "spur", "driver_teeth": driver, "driven_teeth": driven} | measures


def sheet(*meshes: dict[str, Any], **tables: Any) -> BuildSheet:
    return parse_build({"motor": MOTOR, "disc": {"marks_per_turn": 3}, "mesh": list(meshes)} | tables)


def limit(driver: int, driven: int, module: float, face: float) -> float:
    built = sheet(spur(driver, driven, module_mm=module, face_mm=face, allowable_mpa=15))
    found = figures(built).meshes[0].limit_torque_nm
    assert found is not None
    return found


@given(TEETH, TEETH, SIZES, st.floats(2, 30), st.sampled_from(["driver", "driven", "module", "face"]))
def test_more_teeth_face_or_module_never_lowers_strength(
    driver: int, driven: int, module: float, face: float, what: str
) -> None:
    before = limit(driver, driven, module, face)
    # A driver with more teeth lowers the ratio and with it the torque at the output; what the teeth bear at their own axle is meant.
    at_driver = before / (driven / driver)
    if what == "driver":
        assert limit(driver + 1, driven, module, face) / (driven / (driver + 1)) >= at_driver
    elif what == "driven":
        assert limit(driver, driven + 1, module, face) >= before
    elif what == "module":
        assert limit(driver, driven, module * 1.1, face) > before
    else:
        assert limit(driver, driven, module, face * 1.1) > before


@given(st.lists(st.tuples(TEETH, TEETH), min_size=1, max_size=4), SIZES, st.floats(0.5, 1.0))
def test_at_its_limit_each_mesh_has_just_the_allowable_stress(
    teeth: list[tuple[int, int]], module: float, efficiency: float
) -> None:
    sizes = {"module_mm": module, "face_mm": 8, "allowable_mpa": 15, "efficiency": efficiency}
    meshes = [spur(*pair, **sizes) for pair in teeth]
    for i, mesh in enumerate(figures(sheet(*meshes)).meshes):
        loaded = figures(sheet(*meshes, overload={"torque_nm": mesh.limit_torque_nm})).meshes[i]
        assert loaded.overload_stress_mpa == pytest.approx(15 * (mesh.velocity_factor or 1))


@given(st.lists(st.tuples(TEETH, TEETH), min_size=1, max_size=4))
def test_the_suggested_overload_leaves_every_mesh_whole(teeth: list[tuple[int, int]]) -> None:
    meshes = [spur(*pair, module_mm=1, face_mm=8, allowable_mpa=15) for pair in teeth]
    found = figures(sheet(*meshes))
    assert found.weakest_mesh is not None
    for mesh in found.meshes:
        assert mesh.overload_stress_mpa is not None
        assert mesh.overload_stress_mpa <= 15
        assert mesh.limit_torque_nm is not None
        assert mesh.limit_torque_nm >= (found.meshes[found.weakest_mesh].limit_torque_nm or 0)


def test_a_gear_below_the_table_has_no_strength_but_everything_else() -> None:
    sizes = {"module_mm": 1, "face_mm": 8, "allowable_mpa": 15}
    found = figures(sheet(spur(9, 40, **sizes), spur(12, 60, **sizes)))
    first, second = found.meshes
    assert (first.root_stress_mpa, first.overload_stress_mpa, first.limit_torque_nm) == (None, None, None)
    assert first.no_strength is not None
    assert "12 teeth" in first.no_strength
    assert first.tooth_force_n is not None
    assert first.contact_ratio is not None
    assert found.weakest_mesh == 1
    assert second.limit_torque_nm is not None
    assert any("No strength is claimed for mesh[0]" in note for note in found.notes)


def test_what_the_sheet_does_not_give_is_named() -> None:
    reasons = [
        figures(sheet(spur(20, 40, **sizes))).meshes[0].no_strength
        for sizes in (
            {},
            {"module_mm": 1},
            {"module_mm": 1, "face_mm": 8},
            {"module_mm": 1, "face_mm": 8, "allowable_mpa": 9},
        )
    ]
    assert reasons == [
        "the sheet does not give its module_mm and face_mm",
        "the sheet does not give its face_mm",
        "the sheet does not give its allowable_mpa",
        None,
    ]


def worm(**values: Any) -> dict[str, Any]:
    return {"kind": "worm", "starts": 1, "driven_teeth": 40, "lead_angle_deg": 5} | values


def test_a_worm_passes_the_force_that_its_efficiency_says() -> None:
    found = figures(sheet(worm(module_mm=1.25, face_mm=10, allowable_mpa=20, friction=0.08)))
    mesh = found.meshes[0]
    assert mesh.tooth_force_n is not None
    assert mesh.tooth_force_n * 1.25 * 40 / 2000 == pytest.approx(found.output_stall_torque_nm)
    assert mesh.limit_torque_nm is not None
    assert mesh.root_stress_mpa is not None
    assert found.output_stall_torque_nm / mesh.limit_torque_nm == pytest.approx(mesh.root_stress_mpa / 20)


def test_a_worm_of_an_untabled_pressure_angle_has_no_strength() -> None:
    mesh = figures(sheet(worm(module_mm=1, face_mm=8, allowable_mpa=9, pressure_angle_deg=17))).meshes[0]
    assert mesh.limit_torque_nm is None
    assert mesh.no_strength is not None
    assert "17°" in mesh.no_strength


@given(st.floats(0.5, 40), st.floats(0.02, 0.4))
def test_a_worm_locks_exactly_where_it_passes_nothing_back(lead_angle: float, friction: float) -> None:
    mesh = figures(sheet(worm(lead_angle_deg=lead_angle, friction=friction))).meshes[0]
    assert mesh.back_efficiency is not None
    assert mesh.self_locking == (mesh.back_efficiency <= 0)


def test_the_rotors_energy_is_the_twists_energy() -> None:
    rotor, ratio, stiffness, speed = 3e-6, 400.0, 12.0, 25.0
    torque = sudden_stop_nm(speed, rotor, ratio, stiffness)
    kinetic = rotor * (math.radians(speed) * ratio) ** 2 / 2
    twist = math.radians(torque / stiffness)
    assert torque * twist / 2 == pytest.approx(kinetic)


def test_the_speed_worth_allowing_is_where_a_sudden_stop_reaches_the_weakest_mesh() -> None:
    motor = MOTOR | {"rotor_inertia_kg_m2": 3e-6}
    mesh = spur(12, 60, module_mm=1, face_mm=8, allowable_mpa=15)
    load = {"stiffness_nm_per_deg": 3}
    found = figures(sheet(mesh, mesh, motor=motor, load=load))
    assert found.sudden_stop_speed_deg_s is not None
    limits = {"speed_deg_s": found.sudden_stop_speed_deg_s, "accel_deg_s2": 10, "jerk_deg_s3": 10}
    at_it = figures(sheet(mesh, mesh, motor=motor, load=load, limits=limits))
    assert at_it.weakest_mesh is not None
    assert at_it.sudden_stop_torque_nm == pytest.approx(at_it.meshes[at_it.weakest_mesh].limit_torque_nm)
    assert at_it.suggested_limits.speed_deg_s <= found.sudden_stop_speed_deg_s
    assert "sudden stop" in at_it.suggested_limits.speed_because


def test_without_stiffness_or_rotor_nothing_is_said_of_a_sudden_stop() -> None:
    found = figures(sheet(spur(12, 60, module_mm=1, face_mm=8, allowable_mpa=15)))
    assert (found.sudden_stop_torque_nm, found.sudden_stop_speed_deg_s) == (None, None)
