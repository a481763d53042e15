"""What is converted one way comes back the other."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from geartender.build.drive import Drive
from geartender.build.heat import resistance_at, winding_by_resistance
from geartender.build.pulse import PulseScale
from tests.build.test_strength import sheet, spur

DRIVE = Drive.of(sheet(spur(12, 61, efficiency=0.85), spur(13, 50)))
ANGLES = st.floats(-180, 180)


@given(st.floats(0, 1e4))
def test_speed_of_output_and_motor(deg_s: float) -> None:
    assert DRIVE.deg_s(DRIVE.motor_rad_s(deg_s)) == pytest.approx(deg_s)


@given(st.floats(0, 1))
def test_torque_of_output_and_motor_current(share: float) -> None:
    torque = share * DRIVE.motor.stall_torque_nm * DRIVE.gain
    assert DRIVE.torque_nm(DRIVE.current_a(torque)) == pytest.approx(torque)


@given(st.floats(0, 1), st.floats(0, 1))
def test_voltage_and_speed_of_the_motor(speed: float, current: float) -> None:
    rad_s, amps = speed * DRIVE.motor.no_load_rad_s, current * DRIVE.motor.stall_current_a
    assert DRIVE.motor.speed_rad_s(DRIVE.motor.volts(rad_s, amps), amps) == pytest.approx(rad_s, abs=1e-9)


@given(st.floats(0.1, 100), st.floats(-20, 40), st.floats(-20, 180))
def test_resistance_and_temperature(ohm: float, cold: float, warm: float) -> None:
    assert winding_by_resistance(ohm, cold, resistance_at(ohm, cold, warm)) == pytest.approx(warm, abs=1e-6)


@given(ANGLES, ANGLES, st.integers(600, 1200), st.integers(1300, 1700), st.integers(1800, 2600), st.floats(0, 1))
def test_pulse_width_and_angle(low: float, high: float, first: int, middle: int, last: int, share: float) -> None:
    if abs(high - low) < 1:
        return
    scale = PulseScale((first, middle, last), (low, (low + high) / 2, high))
    width = first + share * (last - first)
    assert scale.us(scale.deg(width)) == pytest.approx(width, abs=1e-6)
