"""What the firmware is told of a build."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from geartender.build import build_document, figures, parse_build
from geartender.firmware.settings import ALL, Settings
from geartender.firmware.tick import WORDS
from geartender.servo.settings import (
    ORDER,
    Dynamics,
    backlash_deg,
    firmware_settings,
    gain,
    setting_lines,
    settings_digest,
    speed_limit,
)
from geartender.servo.units import FINE, TICK_S, Scale
from tests.servo.rig import vent

OTHERS = (
    {"motor": {"supply_v": 6.0, "no_load_rpm": 12000, "no_load_current_a": 0.2, "winding_ohm": 1.5}},
    {"motor": {"supply_v": 24.0, "no_load_rpm": 3000, "winding_ohm": 20.0, "rotor_inertia_kg_m2": 2e-5}},
    {"disc": {"marks_per_turn": 1}},
    {"disc": {"marks_per_turn": 100}},
    {"limits": {"speed_deg_s": 2.0, "accel_deg_s2": 1.0, "jerk_deg_s3": 1.0}, "home": {"speed_deg_s": 1.0}},
    {"limits": {"speed_deg_s": 30.0, "accel_deg_s2": 500.0, "jerk_deg_s3": 20_000.0}},
    {"overload": {"action": "ease", "for_ms": 10_000.0}},
    {"load": {"inertia_kg_m2": 5.0}},
    {"rest": {"after_move": "hold"}},
)


@pytest.mark.parametrize("changes", OTHERS, ids=str)
def test_every_setting_is_given_and_taken_by_the_firmware(changes: dict[str, dict[str, float]]) -> None:
    sheet = vent(**changes)
    settings = firmware_settings(sheet)
    assert set(settings) == set(ORDER) == {row[0] for row in ALL}
    held = Settings([0] * WORDS)
    for line in setting_lines(settings):
        assert held.store(list(line)) is None
    assert held.missing() == []
    assert held.digest() == settings_digest(settings)


def test_gains_turn_physics_into_the_firmwares_numbers() -> None:
    sheet = vent()
    settings, scale = firmware_settings(sheet), Scale.of(sheet)
    dynamics, figure = Dynamics.of(sheet, scale), figures(sheet)

    def value(name: str) -> float:
        return settings[f"{name}_num"] / 2 ** settings[f"{name}_shift"]

    speed = round(figure.count_rate_hz * TICK_S * FINE) >> settings["speed_shift"]
    assert speed < 2**17
    # at the no-load speed the back-EMF is the supply less what the no-load current drops
    expected = (12.0 - 0.07 * 9.0) * 1000
    assert speed * value("ke") == pytest.approx(expected, rel=0.002)
    assert value("ri") * 9000 == pytest.approx(1000, rel=0.001)
    accel = 500_000 >> settings["accel_shift"]
    counts_s2 = 500_000 / FINE / TICK_S**2
    assert accel * value("ka") == pytest.approx(dynamics.volts_for_accel(counts_s2) * 1000, rel=0.01)
    assert accel * value("kj") == pytest.approx(dynamics.amps_for_rotor(counts_s2) * 1000, rel=0.01)


def test_the_overload_is_the_sheets_torque_as_current() -> None:
    sheet = vent()
    scale = Scale.of(sheet)
    assert scale.torque_nm(firmware_settings(sheet)["overload_ma"]) == pytest.approx(6.5, rel=0.01)


def test_the_travel_is_counted_from_the_home_edge() -> None:
    sheet = vent(home={"angle_deg": 10.0}, travel={"min_deg": -5.0, "max_deg": 75.0})
    settings, scale = firmware_settings(sheet), Scale.of(sheet)
    assert settings["travel_low"] == round(-15 / scale.deg_per_count)
    assert settings["travel_high"] == round(65 / scale.deg_per_count)
    assert scale.deg(settings["travel_high"] * 65536, 0) == pytest.approx(75, abs=scale.deg_per_count)


def test_nothing_is_ever_commanded_above_what_the_motor_follows() -> None:
    assert speed_limit(vent()) == pytest.approx(30.0)
    fast = vent(limits={"speed_deg_s": 30.0})
    assert speed_limit(fast) == pytest.approx(0.9 * figures(fast).no_load_output_deg_s)


def test_backlash_adds_up_as_seen_at_the_output() -> None:
    sheet = vent()
    last = sheet.mesh[-1]
    assert last.backlash_mm is not None
    assert last.module_mm is not None
    own = last.backlash_mm / (last.module_mm * last.driven_teeth / 2) * 57.2958
    assert own < backlash_deg(sheet) < 1.6 * own
    document = build_document(sheet)
    for mesh in document["mesh"]:
        mesh.pop("backlash_mm")
    assert backlash_deg(parse_build(document)) == 1.0


def test_a_sheet_that_cannot_move_has_no_settings() -> None:
    document = build_document(vent())
    del document["home"]
    with pytest.raises(ValueError, match="home"):
        firmware_settings(parse_build(document))


@given(st.floats(min_value=1e-6, max_value=4000))
def test_a_gain_is_as_fine_as_fits(value: float) -> None:
    num, shift = gain(value)
    assert 0 <= num <= 4095
    assert 0 <= shift <= 24
    assert num / 2**shift == pytest.approx(value, rel=1 / 4000, abs=2**-25)
