"""Reading and writing build sheets."""

from importlib.resources import files
from pathlib import Path

import pytest

from geartender.build import BuildSheet, build_document, can_move, load_build, parse_build, write_build
from geartender.errors import BuildSheetError

EXAMPLE = Path(str(files("geartender.build") / "ridge_vent.toml"))
LEAST = """
[motor]
supply_v = 6
no_load_rpm = 3100
no_load_current_a = 0.05
winding_ohm = 7.5

[disc]
marks_per_turn = 4

[[mesh]]
kind = "spur"
driver_teeth = 11
driven_teeth = 47
"""


def test_the_example_can_move() -> None:
    sheet = load_build(EXAMPLE)
    assert can_move(sheet)
    assert sheet.missing_to_move == []
    assert sheet.travel is not None
    assert (sheet.travel.up_word, sheet.travel.down_word) == ("Open", "Close")


@pytest.mark.parametrize("text", [EXAMPLE.read_text(encoding="utf-8"), LEAST])
def test_writing_and_reading_again_gives_the_same_sheet(text: str) -> None:
    sheet = parse_build(text)
    assert parse_build(write_build(sheet)) == sheet
    assert parse_build(build_document(sheet)) == sheet


def test_only_what_was_written_is_written_again() -> None:
    assert set(build_document(parse_build(LEAST))) == {"motor", "disc", "mesh"}


def test_three_tables_are_enough_for_figures_and_the_rest_is_named() -> None:
    sheet = parse_build(LEAST)
    assert not can_move(sheet)
    assert sheet.missing_to_move == ["home", "travel", "limits"]


def test_whole_numbers_do_where_fractions_are_allowed() -> None:
    assert parse_build(LEAST).motor.supply_v == 6.0


def test_tables_left_out_mean_what_their_description_says() -> None:
    sheet = parse_build(LEAST)
    assert (sheet.bridge.inputs, sheet.bridge.pwm_hz, sheet.bridge.max_duty) == ("two_pwm", 20_000, 1.0)
    assert sheet.bridge.current_limit_a is None
    assert (sheet.load.inertia_kg_m2, sheet.load.gravity_nm, sheet.load.friction_nm) == (0, 0, 0)
    assert (sheet.overload.torque_nm, sheet.overload.for_ms, sheet.overload.action) == (None, 100, "stop")
    assert (sheet.rest.after_move, sheet.rest.approach) == ("brake", "shortest")
    assert sheet.input is sheet.pulse is None
    assert sheet.display.kind == "none"
    assert sheet.supply.kind == "adapter"
    assert sheet.pins.supply is None


def test_a_table_left_out_is_described() -> None:
    for name, field in BuildSheet.model_fields.items():
        assert field.description, name


def test_a_sheet_cannot_be_changed_behind_ones_back() -> None:
    with pytest.raises(ValueError, match="frozen"):
        parse_build(LEAST).motor.supply_v = 24.0  # type: ignore[misc]


def test_a_file_that_is_not_toml_is_refused_with_the_line(tmp_path: Path) -> None:
    path = tmp_path / "vent.toml"
    path.write_text("[motor]\nsupply_v = \n")
    with pytest.raises(BuildSheetError, match=r"vent\.toml: is not TOML: .*line 2"):
        load_build(path)


def test_a_file_that_is_not_text_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "vent.toml"
    path.write_bytes(b"name = '\xff'")
    with pytest.raises(BuildSheetError, match="is not UTF-8 text"):
        load_build(path)


def test_a_missing_file_is_the_callers_to_handle(tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError):
        load_build(tmp_path / "nowhere.toml")


def test_mistakes_in_a_file_name_the_file(tmp_path: Path) -> None:
    path = tmp_path / "vent.toml"
    path.write_text(LEAST.replace("= 47", "= 0"))
    with pytest.raises(BuildSheetError) as caught:
        load_build(path)
    assert str(caught.value) == (
        "vent.toml: mesh[0].driven_teeth: must be at least 1, got 0. Count the teeth of the driven gear."
    )
