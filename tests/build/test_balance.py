"""Energy and ratios add up, for any motor and train; and independent solvers agree."""

import math
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.optimize import brentq, minimize_scalar

from geartender.build import figures, motor_constants, parse_build
from geartender.build.motor import RAD_S_PER_RPM
from geartender.build.tables import Motor
from tests.build.test_strength import sheet, spur

VOLTS, RPM, OHM = st.floats(3, 48), st.floats(500, 12_000), st.floats(1.0, 50)
# No-load current as a share of the stall current.
LOSSES = st.floats(0.0, 0.3)


def motor(volts: float, rpm: float, ohm: float, loss: float) -> dict[str, Any]:
    return {"supply_v": volts, "no_load_rpm": rpm, "no_load_current_a": loss * volts / ohm, "winding_ohm": ohm}


@given(VOLTS, RPM, OHM, LOSSES, st.floats(0.0, 1.0))
def test_electrical_power_is_copper_friction_and_shaft(
    volts: float, rpm: float, ohm: float, loss: float, share: float
) -> None:
    found = motor_constants(Motor(**motor(volts, rpm, ohm, loss)))
    speed = share * found.no_load_rad_s
    torque = found.torque_nm(speed)
    current = found.current_a(torque)
    parts = current**2 * found.resistance_ohm + found.friction_nm * speed + torque * speed
    assert volts * current == pytest.approx(parts, rel=1e-9)


@given(VOLTS, RPM, OHM, LOSSES)
def test_the_line_runs_to_the_output_without_losing_more_than_the_train_takes(
    volts: float, rpm: float, ohm: float, loss: float
) -> None:
    mesh = spur(12, 60, efficiency=0.8)
    found = figures(sheet(mesh, mesh, motor=motor(volts, rpm, ohm, loss)))
    for point in found.curve:
        assert point.power_w == pytest.approx(point.torque_nm * math.radians(point.speed_deg_s), abs=1e-9)
        assert point.efficiency <= found.max_efficiency * found.train_efficiency + 1e-9
    assert max(point.power_w for point in found.curve) == pytest.approx(found.output_max_power_w)


@given(VOLTS, RPM, OHM, st.floats(0.001, 0.3))
def test_every_way_to_give_the_motor_gives_the_same_motor(volts: float, rpm: float, ohm: float, loss: float) -> None:
    given_ohm = motor(volts, rpm, ohm, loss)
    found = motor_constants(Motor(**given_ohm))
    least = {key: value for key, value in given_ohm.items() if key != "winding_ohm"}
    whole = {"stall_current_a": found.stall_current_a, "stall_torque_nm": found.stall_torque_nm}
    for field, value in whole.items():
        other = motor_constants(Motor(**least, **{field: value}))
        assert other.resistance_ohm == pytest.approx(ohm, rel=1e-6)
        assert other.kt_nm_per_a == pytest.approx(found.kt_nm_per_a, rel=1e-6)
    # All of them at once agree, and are no contradiction.
    parse_build({"motor": given_ohm | whole, "disc": {"marks_per_turn": 3}, "mesh": [spur(12, 24)]})


@given(VOLTS, RPM, OHM, st.floats(0.001, 0.3))
def test_a_solver_finds_the_same_resistance_from_the_stall_torque(
    volts: float, rpm: float, ohm: float, loss: float
) -> None:
    found = motor_constants(Motor(**motor(volts, rpm, ohm, loss)))
    i0, w0 = loss * volts / ohm, rpm * RAD_S_PER_RPM

    def short_of_torque(log_r: float) -> float:
        r = math.exp(log_r)
        return (volts - i0 * r) ** 2 / (r * w0) - found.stall_torque_nm

    root = math.exp(brentq(short_of_torque, math.log(ohm / 1e3), math.log(volts / i0), xtol=1e-14))
    torque = Motor(supply_v=volts, no_load_rpm=rpm, no_load_current_a=i0, stall_torque_nm=found.stall_torque_nm)
    assert motor_constants(torque).resistance_ohm == pytest.approx(root, rel=1e-6)


@given(VOLTS, RPM, OHM, st.floats(0.001, 0.3))
def test_a_search_over_the_curve_finds_the_same_best_efficiency(
    volts: float, rpm: float, ohm: float, loss: float
) -> None:
    found = motor_constants(Motor(**motor(volts, rpm, ohm, loss)))

    def lost(share: float) -> float:
        torque = share * found.stall_torque_nm
        return -torque * found.no_load_rad_s * (1 - share) / (volts * found.current_a(torque))

    best = minimize_scalar(lost, bounds=(0.0, 1.0), method="bounded", options={"xatol": 1e-9})
    assert -best.fun == pytest.approx(found.max_efficiency, rel=1e-6)
    figure = figures(sheet(spur(12, 24), motor=motor(volts, rpm, ohm, loss))).motor
    assert figure.best_torque_nm == pytest.approx(best.x * found.stall_torque_nm, rel=1e-3)


@given(st.lists(st.tuples(st.integers(1, 300), st.integers(1, 300)), min_size=1, max_size=6), st.integers(1, 50))
def test_ratio_and_counts_are_exact_fractions(teeth: list[tuple[int, int]], marks: int) -> None:
    found = figures(sheet(*(spur(*pair) for pair in teeth), disc={"marks_per_turn": marks}))
    ratio = math.prod((Fraction(driven, driver) for driver, driven in teeth), start=Fraction(1))
    assert found.gear_ratio == ratio == math.prod((mesh.ratio for mesh in found.meshes), start=Fraction(1))
    assert found.counts_per_output_turn * found.deg_per_count == 360
    assert found.counts_per_output_turn == 4 * marks * ratio
    assert found.output_sense == ("opposite" if len(teeth) % 2 else "same")


@given(st.floats(0.5, 2.0), st.floats(0.1, 0.9))
def test_more_load_takes_more_duty_and_current(load: float, speed: float) -> None:
    mesh = spur(12, 60)
    plain = figures(sheet(mesh))
    limits = {"speed_deg_s": speed * plain.no_load_output_deg_s, "accel_deg_s2": 10, "jerk_deg_s3": 10}
    stall = plain.output_stall_torque_nm
    light, heavy = (
        figures(sheet(mesh, limits=limits, load={"friction_nm": part * load * stall / 4})).working_point
        for part in (0.5, 1.0)
    )
    assume(light.torque_nm > 0)
    assert heavy.current_a > light.current_a
    assert heavy.duty > light.duty
    assert light.reachable == (light.duty <= 1.0)
