"""Sensor inputs against the 3.3 V interface levels and worked circuits.

JEDEC JESD8C.01: low at most 0.8 V, high at least 2.0 V for a supply of 2.7 to 3.6 V, as two public texts and a processor's data
sheet give it. Circuits recomputed [V-calc].
"""

import pytest

from geartender.build import figures, parse_build
from geartender.build.figure_models import InputFigures
from geartender.build.pin import edge_times, least_high_v, least_series_ohm, levels, most_low_v, series_for_current_ohm
from geartender.build.tables import Input


@pytest.mark.parametrize("supply", [2.7, 3.3, 3.6])
def test_interface_levels(supply: float) -> None:
    assert (most_low_v(supply), least_high_v(supply)) == (0.8, 2.0)


def test_cmos_levels_outside_that_supply() -> None:
    # Many CMOS parts specify 0.3 and 0.7 of the supply.
    assert (most_low_v(5.0), least_high_v(5.0)) == pytest.approx((1.5, 3.5))
    assert (most_low_v(1.8), least_high_v(1.8)) == pytest.approx((0.54, 1.26))


# Zener clamp: I = (V - Vz) / R, the pin's own current neglected.
@pytest.mark.parametrize(
    ("volts", "clamp", "ohm", "milliamps", "in_resistor", "in_zener"),
    [
        (12, 3.3, 1000, 8.7, 75.69, 28.71),
        (12, 3.3, 4700, 1.851064, 16.1043, 6.108511),
        (5, 3.3, 330, 5.151515, 8.757576, 17.0),
    ],
)
def test_a_clamp(volts: float, clamp: float, ohm: float, milliamps: float, in_resistor: float, in_zener: float) -> None:
    found = levels(Input(sensor_high_v=volts, series_ohm=ohm, clamp_v=clamp))
    assert found is not None
    assert found.high_v == clamp
    assert found.clamp_current_ma == pytest.approx(milliamps, rel=1e-6)
    assert found.series_mw == pytest.approx(in_resistor, rel=1e-6, abs=5e-5)  # to half of the last digit shown
    assert found.clamp_mw == pytest.approx(in_zener, rel=1e-6)


def test_resistors_for_a_clamp() -> None:
    assert series_for_current_ohm(12, 3.3, 5e-3) == pytest.approx(1740)
    assert least_series_ohm(12, 3.3, 0.25) == pytest.approx(114.84)


# 10 kΩ over 3.3 kΩ.
@pytest.mark.parametrize(("volts", "pin", "fits"), [(12, 2.977444, True), (14.4, 3.572932, False)])
def test_a_divider(volts: float, pin: float, fits: bool) -> None:
    found = at_the_pin(sensor_high_v=volts, series_ohm=10_000, divider_ohm=3_300)
    assert found.high_v == pytest.approx(pin, rel=1e-6)
    assert found.high_ok is fits


def test_edges_through_a_capacitor() -> None:
    # 2.2 kΩ and 10 nF: τ 22 µs; 2.0 V of 3.3 V after 0.931558 τ, 0.8 V after 1.417066 τ.
    found = edge_times(Input(sensor_high_v=3.3, series_ohm=2200, capacitor_f=10e-9))
    assert found.rise_s == pytest.approx(0.931558 * 22e-6, rel=1e-6)
    assert found.fall_s == pytest.approx(1.417066 * 22e-6, rel=1e-6)


def at_the_pin(**circuit: float) -> InputFigures:
    motor = {"supply_v": 12, "no_load_rpm": 3000, "no_load_current_a": 0.1, "winding_ohm": 6}
    mesh = {"kind": "spur", "driver_teeth": 12, "driven_teeth": 36}
    found = figures(
        parse_build({"motor": motor, "disc": {"marks_per_turn": 3}, "mesh": [mesh], "input": circuit})
    ).input
    assert found is not None
    return found


def test_a_five_volt_sensor_behind_three_kilohm_and_a_three_volt_zener() -> None:
    # Common practice, no source: it swings from about 0.8 to 4 V, and the pin stays under 3.3 V.
    found = at_the_pin(sensor_high_v=4.0, sensor_low_v=0.8, series_ohm=3000, clamp_v=3.0)
    assert found.high_v is not None
    assert found.high_v < 3.3
    assert found.clamp_current_ma == pytest.approx(1 / 3)
    assert found.high_ok
    assert found.low_ok
    assert found.low_margin_v == pytest.approx(0.0, abs=1e-12)


def test_a_soft_knee_is_cautioned_against() -> None:
    # Question-and-answer threads: a 3.0 V part leaked 0.141 mA and pulled a 3.3 V signal through 10 kΩ to 1.9 V.
    motor = {"supply_v": 12, "no_load_rpm": 3000, "no_load_current_a": 0.1, "winding_ohm": 6}
    mesh = {"kind": "spur", "driver_teeth": 12, "driven_teeth": 36}
    circuit = {"sensor_high_v": 3.3, "series_ohm": 10_000, "clamp_v": 3.0}
    found = figures(parse_build({"motor": motor, "disc": {"marks_per_turn": 3}, "mesh": [mesh], "input": circuit}))
    assert any("soft knee" in note for note in found.notes)
    assert least_high_v(3.3) > 3.3 - 10_000 * 0.141e-3
