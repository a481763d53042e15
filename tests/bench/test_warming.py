"""A winding's warmth from made-up readings of the resistance method, against what was put in."""

from __future__ import annotations

import math

import pytest

from geartender.bench.estimators.fit import Value
from geartender.bench.estimators.warming import Reading, warming

VOLTS, COLD_OHM, AMBIENT_C = 6.0, 4.0, 25.0
K_PER_W, TIME_S = 6.0, 300.0
WARM_S, COOL_S = 180.0, 120.0


def reading(rise_k: float, unsure: float = 1e-4) -> Reading:
    """Of a winding that much warmer than the air; copper by 1/(235 + t) for a kelvin."""
    amps = VOLTS / (COLD_OHM * (1 + rise_k / (235.0 + AMBIENT_C)))
    return Reading(VOLTS, Value(amps, unsure * amps))


def rises() -> tuple[float, float]:
    """After the press and after the rest, the power taken as that of half of the way."""
    rise = 40.0
    for _ in range(20):
        amps = (reading(0.0).amps.value + reading(rise).amps.value) / 2
        rise = K_PER_W * VOLTS * amps * -math.expm1(-WARM_S / TIME_S)
    return rise, rise * math.exp(-COOL_S / TIME_S)


def test_the_rise_and_the_heat_path_are_what_was_put_in() -> None:
    warm, left = rises()
    found = warming(reading(0.0), reading(warm), reading(left), AMBIENT_C, WARM_S, COOL_S)
    assert found.rise_k.value == pytest.approx(warm)
    assert found.time_s is not None
    assert found.time_s.value == pytest.approx(TIME_S)
    assert found.k_per_w is not None
    assert found.k_per_w.value == pytest.approx(K_PER_W)


def test_the_uncertainties_are_those_of_readings_that_are_off_by_theirs() -> None:
    warm, left = rises()
    unsure = 0.002
    plain = warming(reading(0.0, unsure), reading(warm, unsure), reading(left, unsure), AMBIENT_C, WARM_S, COOL_S)
    assert plain.time_s is not None
    assert plain.k_per_w is not None
    moved = []
    for off in (1 + unsure, 1 - unsure):
        one = reading(warm, unsure)
        seen = Reading(VOLTS, Value(one.amps.value * off, one.amps.uncertainty))
        found = warming(reading(0.0, unsure), seen, reading(left, unsure), AMBIENT_C, WARM_S, COOL_S)
        moved.append(found.rise_k.value)
    assert plain.rise_k.uncertainty == pytest.approx(abs(moved[0] - moved[1]) / 2 * math.sqrt(2), rel=0.05)
    assert 0.02 < plain.time_s.uncertainty / plain.time_s.value < 0.2
    assert plain.rise_k.uncertainty / plain.rise_k.value < plain.k_per_w.uncertainty / plain.k_per_w.value < 0.2


@pytest.mark.parametrize("left_k", [None, 0.5, 39.5])
def test_a_rest_that_tells_nothing_leaves_the_heat_path_open(left_k: float | None) -> None:
    cooled = None if left_k is None else reading(left_k, 0.005)
    found = warming(reading(0.0, 0.005), reading(40.0, 0.005), cooled, AMBIENT_C, WARM_S, COOL_S)
    assert (found.time_s, found.k_per_w) == (None, None)
    assert found.rise_k.value == pytest.approx(40.0)
