"""Ratios and efficiencies of gear trains against published examples.

[V-calc] recomputed from the stated formula, [M] the citation is from memory.
"""

import math
from fractions import Fraction

import pytest

from geartender.build import parse_build
from geartender.build.motor import motor_constants
from geartender.build.tables import SpurMesh, WormMesh
from geartender.build.train import gear_ratio, mesh_efficiency, train_efficiency
from geartender.build.trains import TrainRequest, find_trains


def spur(driver: int, driven: int, efficiency: float = 1.0) -> SpurMesh:
    return SpurMesh(kind="spur", driver_teeth=driver, driven_teeth=driven, efficiency=efficiency)


# Compound spur train: product of driven over product of driver teeth, exactly. Shigley's Mechanical Engineering Design, examples
# 13-3 (asked for 30:1 within 1 %) and 13-4 (30 exactly) [M]; values [V-calc].
@pytest.mark.parametrize(
    ("pairs", "ratio"), [([(16, 88), (16, 88)], Fraction(121, 4)), ([(16, 96), (16, 80)], Fraction(30))]
)
def test_the_ratio_of_a_compound_train_is_exact(pairs: list[tuple[int, int]], ratio: Fraction) -> None:
    assert gear_ratio([spur(*pair) for pair in pairs]) == ratio


# Values: [V-calc].
@pytest.mark.parametrize(("meshes", "efficiency"), [(2, 0.9409), (3, 0.912673), (4, 0.885293)])
def test_efficiencies_multiply(meshes: int, efficiency: float) -> None:
    assert train_efficiency([spur(20, 40, 0.97)] * meshes) == pytest.approx(efficiency, rel=1e-6)


def worm(lead_angle: float, friction: float) -> WormMesh:
    return WormMesh(
        kind="worm",
        starts=2,
        driven_teeth=30,
        lead_angle_deg=lead_angle,
        pressure_angle_deg=14.5,
        friction=friction,
    )


# Formula: Mechanical Engineer's Data Handbook section 2.10.6; Elements of Metric Gear Technology eq. 16-21. The example is
# Shigley's 13-10 with a lead angle of 9.462322 degrees [M]; value [V-calc].
def test_a_worm_drives_its_wheel_with_the_known_efficiency() -> None:
    assert mesh_efficiency(worm(9.462322, 0.03)) == pytest.approx(0.838871, rel=1e-6)


# f = 0.05, normal pressure angle 14.5 degrees: [V-calc] to half of the last digit; Shigley's table 13-6 gives these to about 0.1 [M].
@pytest.mark.parametrize(
    ("lead_angle", "percent"),
    [(1, 25.24), (2.5, 45.71), (5, 62.60), (7.5, 71.34), (10, 76.64), (15, 82.68), (20, 85.93), (30, 89.05)],
)
def test_a_worms_efficiency_rises_with_its_lead_angle_as_tabled(lead_angle: float, percent: float) -> None:
    assert 100 * mesh_efficiency(worm(lead_angle, 0.05)) == pytest.approx(percent, abs=0.005)


def trains_between(low: float, high: float, most_teeth: int) -> list[tuple[str, float]]:
    """Trains of two meshes of 16 teeth at least with a ratio from low to high, of a motor and a bridge that allow no other."""
    motor = {"supply_v": 12.0, "no_load_rpm": 5000.0, "no_load_current_a": 0.1, "winding_ohm": 2.0}
    sheet: dict[str, object] = {"motor": motor, "disc": {"marks_per_turn": 4}}
    sheet["mesh"] = [{"kind": "spur", "driver_teeth": 16, "driven_teeth": 88}]
    constants, torque = motor_constants(parse_build(sheet).motor), 0.5
    current = constants.current_a(torque / high)
    speed = math.degrees(constants.speed_rad_s(12.0, current) / high)
    sheet["bridge"] = {"current_limit_a": constants.current_a(torque / low)}
    asked = TrainRequest(
        speed_deg_s=speed, torque_nm=torque, fewest_teeth=16, most_teeth=most_teeth, most_meshes=2,
        modules_mm=[1.0], allowable_mpa=1000.0, efficiency=1.0, most=100,
    )  # fmt: skip
    return [
        (train.gear_ratio_exact, train.centre_distances_mm) for train in find_trains(parse_build(sheet), asked).items
    ]


# Shigley's Mechanical Engineering Design, example 13-3: 30 within 1 % in the smallest box, no pinion below 16 teeth, is 16/88 twice,
# 30.25; example 13-4: exactly 30 is 16/96 and 16/80 [M]. Their centre distances at a module of 1 mm: [V-calc].
def test_the_search_finds_the_published_train_within_a_hundredth() -> None:
    assert ("88/16 × 88/16 = 121/4", 104.0) in trains_between(29.7, 30.3, 88)


def test_the_search_finds_the_published_trains_of_exactly_thirty_as_the_shortest() -> None:
    first, second, *_ = trains_between(29.999, 30.001, 96)
    assert {first, second} == {("80/16 × 96/16 = 30", 104.0), ("96/16 × 80/16 = 30", 104.0)}
