"""Brushed DC motor figures against published formulas and examples.

Sources: MIT, D.C. Motor Torque/Speed Curve Tutorial, section 3 (straight line, greatest power at half the stall torque); a
micromotor maker's technical library, How To Select A DC Motor (the same); a motor maker's page Equations (torque and speed from current);
greatest efficiency (1 - √(I0/Is))² from memory [M], confirmed by a numeric search over the curve. Answers recomputed from the
formulas [V-calc] unless said. Tolerance 1e-6 relative, or half of the last digit shown.
"""

import math

import pytest

from geartender.build import MotorConstants, motor_constants
from geartender.build.motor import RAD_S_PER_RPM
from geartender.build.tables import Motor


def by_stall_torque(volts: float, rpm: float, torque: float) -> MotorConstants:
    return motor_constants(Motor(supply_v=volts, no_load_rpm=rpm, no_load_current_a=0.0, stall_torque_nm=torque))


def test_power_is_greatest_at_half_of_both() -> None:
    # MIT tutorial, "sample motor curves": n0 = 600 rpm, Ts = 0.325 N·m, greatest power at 300 rpm and 0.163 N·m. The supply
    # does not matter to it.
    motor = by_stall_torque(12, 600, 0.325)
    assert motor.torque_nm(300 * RAD_S_PER_RPM) == pytest.approx(0.163, abs=5.01e-4)
    assert motor.max_power_w == pytest.approx(5.105088, rel=1e-6)


def test_an_ideal_motor_at_2500_rpm_closes_its_energy_balance() -> None:
    # Question text from a public collection: 12 V, 3800 rpm at no load, 30 mN·m at stall, no losses; what happens at 2500 rpm?
    motor = by_stall_torque(12, 3800, 0.03)
    speed = 2500 * RAD_S_PER_RPM
    torque = motor.torque_nm(speed)
    current = motor.current_a(torque)
    assert motor.kt_nm_per_a == pytest.approx(0.03015567, rel=1e-6)
    assert motor.resistance_ohm == pytest.approx(12.062269, rel=1e-6)
    assert motor.stall_current_a == pytest.approx(0.994838, rel=1e-6)
    assert torque == pytest.approx(10.263158e-3, rel=1e-6)
    assert current == pytest.approx(0.340339, rel=2e-6)
    assert motor.kt_nm_per_a * speed == pytest.approx(7.894737, rel=1e-6)
    electrical, shaft, copper = 12 * current, torque * speed, current**2 * motor.resistance_ohm
    assert (electrical, shaft, copper) == pytest.approx((4.084070, 2.686889, 1.397182), rel=1e-6)
    assert shaft + copper == pytest.approx(electrical, rel=1e-12)


@pytest.mark.parametrize("given", ["winding_ohm", "stall_current_a", "stall_torque_nm"])
def test_a_motor_with_losses_is_the_same_whichever_value_is_given(given: str) -> None:
    # U = 12, R = 6, Kt = 0.0256, I0 = 0.06.
    value = {"winding_ohm": 6.0, "stall_current_a": 2.0, "stall_torque_nm": 49.664e-3}[given]
    rpm = (12 - 0.06 * 6) / 0.0256 / RAD_S_PER_RPM
    assert rpm == pytest.approx(4341.9458, rel=1e-7)
    motor = motor_constants(Motor(supply_v=12, no_load_rpm=rpm, no_load_current_a=0.06, **{given: value}))
    assert motor.resistance_ohm == pytest.approx(6, rel=1e-9)
    assert motor.kt_nm_per_a == pytest.approx(0.0256, rel=1e-9)
    assert motor.stall_current_a == pytest.approx(2, rel=1e-9)
    assert motor.stall_torque_nm == pytest.approx(49.664e-3, rel=1e-9)
    assert motor.max_power_w == pytest.approx(5.6454, abs=5e-5)
    assert motor.max_efficiency == pytest.approx(0.6835898, rel=1e-6)
    best = motor.torque_nm(3700.9265 * RAD_S_PER_RPM)
    assert best == pytest.approx(7.332100e-3, rel=1e-6)
    assert motor.current_a(best) == pytest.approx(0.3464102, rel=1e-6)


def test_greatest_efficiency_is_where_the_curve_has_it() -> None:
    motor = motor_constants(Motor(supply_v=12, no_load_rpm=4341.9458, no_load_current_a=0.06, winding_ohm=6.0))
    torques = [motor.stall_torque_nm * share / 10_000 for share in range(1, 10_000)]
    speeds = [motor.no_load_rad_s * (1 - torque / motor.stall_torque_nm) for torque in torques]
    powers = [12 * motor.current_a(torque) for torque in torques]
    found = max(torque * speed / power for torque, speed, power in zip(torques, speeds, powers, strict=True))
    assert found == pytest.approx(motor.max_efficiency, rel=1e-6)


def test_shaft_power_from_ounce_inches_and_rpm() -> None:
    # DC Motor Calculations, stored note: 3 oz·in at 500 rpm is 1.11 W; the factor for N·m and rpm is 0.1047.
    newton_metres = 3 * 0.45359237 / 16 * 9.80665 * 0.0254
    assert newton_metres * 500 * RAD_S_PER_RPM == pytest.approx(1.11, abs=5e-3)
    assert pytest.approx(0.1047, abs=5e-5) == RAD_S_PER_RPM
    assert pytest.approx(math.tau / 60, rel=1e-15) == RAD_S_PER_RPM
