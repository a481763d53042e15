"""Winding temperature and duties against published examples, and against an integrator.

[M] the citation is from memory, [V-calc] recomputed from the stated formula.
"""

import math

import pytest
from scipy.integrate import solve_ivp

from geartender.build.duty import (
    DUTY_TYPES,
    periodic_name,
    periodic_peak,
    rms_torque,
    short_time_factor,
    short_time_name,
)
from geartender.build.heat import COPPER_PER_K, Winding, resistance_at, winding_by_resistance

TAU_S = 600.0


def test_temperature_by_resistance() -> None:
    # A resistance meter's manual, after IEC 60034: 200 mΩ at 20 °C, 210 mΩ now, ambient now 25 °C: a rise of 7.75 K, 32.75 °C.
    winding = winding_by_resistance(0.200, 20, 0.210)
    assert winding == pytest.approx(32.75, abs=5e-3)
    assert winding - 25 == pytest.approx(7.75, abs=5e-3)


def test_resistance_at_a_temperature() -> None:
    # IEC, k = 235 [V-calc]; a calculator page prints 1.854 with α taken from 25 °C, 0.4 % high, and a loss of 24 W that becomes 29.66 W.
    assert resistance_at(1.5, 25, 85) == pytest.approx(1.846154, rel=1e-6)
    from_25 = Winding(1.5, 1.0, 25).resistance_ohm(20 + 60)
    assert from_25 == pytest.approx(1.8537, abs=5e-5)
    assert 16 * from_25 == pytest.approx(29.66, abs=5e-3)


def test_coppers_coefficient_is_the_printed_one() -> None:
    # An engineering portal; a resistance meter's manual, appendix 5.
    assert pytest.approx(1 / (234.5 + 20), abs=5e-6) == COPPER_PER_K


# 6 Ω at 20 °C, 15 K/W, ambient 25 °C [V-calc].
@pytest.mark.parametrize(("current", "end"), [(0.5, 50.1676), (1.0, 166.9906)])
def test_constant_current_for_ever(current: float, end: float) -> None:
    assert Winding(6, 15, 25).for_ever_c(current) == pytest.approx(end, abs=5e-5)


def test_a_winding_runs_away_where_its_own_warmth_feeds_itself() -> None:
    winding = Winding(6, 15, 25)
    assert winding.runaway_a == pytest.approx(1.681444, rel=1e-6)
    assert winding.for_ever_c(1.6815) is None
    assert winding.for_ever_c(1.68) is not None


# dT(t) = 75 K · (1 - e^(-t / 600 s)) [V-calc].
@pytest.mark.parametrize(
    ("t", "rise"), [(60, 7.137194), (300, 29.510201), (600, 47.409042), (1800, 71.265970), (3000, 74.494654)]
)
def test_a_first_order_rise(t: float, rise: float) -> None:
    flat = 75 * (1 - math.exp(-t / TAU_S))
    assert flat == pytest.approx(rise, abs=5e-7)
    # The winding's own solution follows it where the feedback is taken out: at α → 0 the loss stays that of 20 °C.
    winding = Winding(1.0, 1.0, 20.0, TAU_S)
    current = math.sqrt(75e-6)
    assert winding.after_c(current, t) - 20 == pytest.approx(rise * 1e-6, rel=1e-5)


# Time to a limit: τ · ln((dTss - dT0) / (dTss - dTlim)), 150 K, limit 80 K [V-calc].
@pytest.mark.parametrize(("start", "seconds"), [(0.0, 457.284), (40.0, 271.191)])
def test_time_to_a_limit(start: float, seconds: float) -> None:
    scale = 1e-6
    winding = Winding(1.0, 1.0, 20.0, TAU_S)
    found = winding.seconds_to(20 + 80 * scale, math.sqrt(150 * scale), 20 + start * scale)
    assert found == pytest.approx(seconds, abs=5e-2)


def test_twice_the_continuous_current_from_cold() -> None:
    # τ · ln(4 / 3) = 172.609 s [V-calc].
    scale = 1e-6
    winding = Winding(1.0, 1.0, 20.0, TAU_S)
    limit = 20 + 100 * scale
    assert winding.seconds_to(limit, 2 * winding.continuous_a(limit)) == pytest.approx(172.609, abs=5e-2)


def test_intermittent_and_short_time_duty() -> None:
    # On 60 s, off 180 s, τ 600 s; S2 of one time constant [V-calc].
    peak = periodic_peak(60, 180, TAU_S)
    assert peak == pytest.approx(0.288651, abs=5e-7)
    assert peak * math.exp(-180 / TAU_S) == pytest.approx(0.213838, abs=5e-7)
    assert 1 / peak == pytest.approx(3.464386, abs=5e-7)
    assert math.sqrt(1 / peak) == pytest.approx(1.861286, abs=5e-7)
    assert short_time_factor(TAU_S, TAU_S) == pytest.approx(1.581977, abs=5e-7)


def test_duty_types_are_named_as_the_standard_names_them() -> None:
    # IEC 60034-1 clause 4.2 [M]: the ten names from a training page that cites the standard.
    assert list(DUTY_TYPES) == [f"S{number}" for number in range(1, 11)]
    assert DUTY_TYPES["S1"] == "continuous running"
    assert DUTY_TYPES["S2"] == "short-time"
    assert DUTY_TYPES["S3"] == "intermittent periodic"
    assert short_time_name(3600) == "S2 60 min"
    assert periodic_name(0.25) == "S3 25 %"


def test_rms_torque_of_a_cycle() -> None:
    # Understanding Variable Torque Requirements, a gearmotor maker's note: 1, 3, 2, 1 for 3, 2, 4, 4 s; it prints 1.78.
    cycle = [(torque, torque, seconds) for torque, seconds in zip((1, 3, 2, 1), (3, 2, 4, 4), strict=True)]
    assert rms_torque(cycle) == pytest.approx(1.775907, rel=1e-6)
    assert rms_torque(cycle) == pytest.approx(1.78, abs=5e-3)


# Straight ramps [V-calc].
@pytest.mark.parametrize(("first", "last", "rms"), [(0, 1, 0.577350), (1, 3, 2.081666)])
def test_rms_torque_of_a_ramp(first: float, last: float, rms: float) -> None:
    assert rms_torque([(first, last, 7.0)]) == pytest.approx(rms, abs=5e-7)


# scipy's integrator of the heat equation, C · dT/dt = I² · R(T) - (T - Ta) / Rth; below, near and above the runaway.
@pytest.mark.parametrize("current", [0.3, 1.0, 1.681444, 2.5])
def test_the_way_of_the_temperature_is_an_integrators(current: float) -> None:
    winding = Winding(6, 15, 25, TAU_S)
    capacity = TAU_S / winding.k_per_w

    def slope(_: float, winding_c: list[float]) -> list[float]:
        loss = current**2 * winding.resistance_ohm(winding_c[0])
        return [(loss - (winding_c[0] - 25) / winding.k_per_w) / capacity]

    times = [10.0, 100.0, 600.0, 1500.0]
    found = solve_ivp(slope, (0.0, times[-1]), [25.0], t_eval=times, rtol=1e-10, atol=1e-10)
    assert [winding.after_c(current, t) for t in times] == pytest.approx(list(found.y[0]), rel=1e-7)
