"""Ratios and efficiencies of gear trains against published examples.

[V-calc] recomputed from the stated formula, [M] the citation is from memory.
"""

from fractions import Fraction

import pytest

from geartender.build.tables import SpurMesh, WormMesh
from geartender.build.train import gear_ratio, mesh_efficiency, train_efficiency


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
