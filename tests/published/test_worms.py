"""A worm and its wheel against a published example.

Shigley's Mechanical Engineering Design, example 13-10 [M]: two starts, 1 hp at 1200 rpm, a wheel of 30 teeth, diametral pitch 6,
a worm of 2 in, 14.5° in the normal plane, f = 0.03. The book rounds on its way; values recomputed [V-calc]. Units of the book.
"""

import math

import pytest

from geartender.build.worm import (
    WormForces,
    WormGeometry,
    backward_efficiency,
    forward_efficiency,
    locking_margin,
    sliding_speed,
)

LEAD_ANGLE = 9.462322


def test_geometry_of_the_example() -> None:
    found = WormGeometry.of(1 / 6, 2, 30, LEAD_ANGLE)
    assert found.axial_pitch == pytest.approx(0.523599, rel=1e-6)
    assert found.lead == pytest.approx(1.047198, rel=1e-6)
    assert found.worm_diameter == pytest.approx(2.0, rel=1e-6)
    assert found.centre_distance == pytest.approx(3.5, rel=1e-6)


def test_forces_and_speeds_of_the_example() -> None:
    speed = math.pi * 2 * 1200 / 12
    assert speed == pytest.approx(628.32, abs=5e-3)
    assert sliding_speed(speed, LEAD_ANGLE) == pytest.approx(636.99, abs=5e-3)
    found = WormForces.of(33_000 / speed, LEAD_ANGLE, 14.5, 0.03)
    assert found.worm_tangential == pytest.approx(52.521, abs=5e-4)
    assert found.normal == pytest.approx(278.25, abs=5e-3)
    assert found.radial == pytest.approx(69.67, abs=5e-3)
    assert found.wheel_tangential == pytest.approx(264.35, abs=5e-3)
    assert found.wheel_tangential == pytest.approx(263, rel=6e-3)


def test_the_forces_of_the_example_lose_what_its_efficiency_says() -> None:
    found = WormForces.of(1.0, LEAD_ANGLE, 14.5, 0.03)
    passed = found.wheel_tangential * math.tan(math.radians(LEAD_ANGLE))
    assert passed == pytest.approx(0.838871, rel=1e-6)
    assert forward_efficiency(LEAD_ANGLE, 14.5, 0.03) == pytest.approx(passed, rel=1e-9)


# Mechanical Engineer's Data Handbook section 2.10.6: self-locking when f ≥ cos φ · tan λ; Elements of Metric Gear Technology eq. 16-23.
@pytest.mark.parametrize("lead_angle", [1.0, 4.0, 8.0, 20.0])
def test_a_worm_locks_just_where_nothing_passes_backwards(lead_angle: float) -> None:
    just = math.cos(math.radians(20)) * math.tan(math.radians(lead_angle))
    assert locking_margin(lead_angle, 20, just) == pytest.approx(1.0)
    assert backward_efficiency(lead_angle, 20, just) == pytest.approx(0.0, abs=1e-12)
    assert backward_efficiency(lead_angle, 20, just * 1.01) < 0.0 < backward_efficiency(lead_angle, 20, just * 0.99)
