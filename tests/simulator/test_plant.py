"""Plant files: what they leave out is as the sheet implies, and every mistake is named with its place."""

import pytest

from geartender.errors import PlantError
from geartender.simulator.plant import STOPS_BEYOND_DEG, load_plant, plant_of
from tests.firmware.kit import VENT, sheet_with


def load(folder, text):
    path = folder / "vent.toml"
    path.write_text(text)
    return load_plant(path, VENT)


def test_an_empty_file_is_the_plant_that_the_sheet_describes(tmp_path):
    assert load(tmp_path, "") == plant_of(VENT)


def test_a_part_of_a_table_keeps_the_rest_of_it(tmp_path):
    implied = plant_of(VENT)
    plant = load(
        tmp_path, "start_deg = 12.5\n[gear]\nbacklash_deg = 1.25\n[load]\ngravity_nm = 2\n[supply]\nvolts = 11.0\n"
    )
    assert (plant.start_deg, plant.gear.backlash_deg, plant.load.gravity_nm, plant.supply.volts) == (
        12.5,
        1.25,
        2.0,
        11.0,
    )
    assert plant.gear.ratio == implied.gear.ratio
    assert plant.load.inertia_kg_m2 == implied.load.inertia_kg_m2
    assert (plant.motor, plant.disc, plant.home, plant.stops) == (
        implied.motor,
        implied.disc,
        implied.home,
        implied.stops,
    )


def test_what_the_sheet_says_is_in_the_plant():
    plant = plant_of(VENT)
    assert plant.gear.ratio == pytest.approx(58 / 12 * 64 / 12 * 65 / 13 * 84 / 14)
    assert plant.gear.efficiency == pytest.approx(0.9**4)
    assert plant.motor.resistance_ohm == 9.0
    assert plant.disc.marks == 4
    assert plant.stops is not None
    assert (plant.stops.min_deg, plant.stops.max_deg) == (0.0 - STOPS_BEYOND_DEG, 75.0 + STOPS_BEYOND_DEG)
    assert 0.0 < plant.start_deg < 75.0


def test_an_endless_build_has_no_stops():
    assert plant_of(sheet_with(travel={"min_deg": None, "max_deg": None, "endless": True})).stops is None


@pytest.mark.parametrize(
    ("text", "paths"),
    [
        ("[motor]\nresistance_ohm = 0\n", ["motor.resistance_ohm"]),
        ("[motor]\nresistance_ohm = 'nine'\nke_v_s = -1\n", ["motor.resistance_ohm", "motor.ke_v_s"]),
        ("[gear]\nefficiency = 1.5\n[disc]\nmarks = 0\n", ["gear.efficiency", "disc.marks"]),
        ("[gears]\nratio = 2\n", ["gears"]),
        ("[load]\nweight = 2\n", ["load.weight"]),
        ("load = 3\n", ["load"]),
        ("start_deg = nan\n", ["start_deg"]),
        ("[stops]\nmin_deg = inf\n", ["stops.min_deg"]),
        ("[disc]\nphase_error_deg = 45\n", ["disc.phase_error_deg"]),
        ("[home]\nwidth_deg = 180\n", ["home.width_deg"]),
    ],
)
def test_every_mistake_has_a_line_with_its_place_and_what_would_be_right(tmp_path, text, paths):
    with pytest.raises(PlantError) as refused:
        load(tmp_path, text)
    lines = str(refused.value).splitlines()
    assert len(lines) == len(paths)
    for line, path in zip(lines, paths, strict=True):
        assert line.startswith(f"{tmp_path / 'vent.toml'}: {path}")
        assert len(line) > len(f"{tmp_path / 'vent.toml'}: {path}: "), "and a hint"


@pytest.mark.parametrize("text", ["[motor\n", "\x00"])
def test_a_file_that_is_no_toml_is_one_line(tmp_path, text):
    with pytest.raises(PlantError) as refused:
        load(tmp_path, text)
    assert len(str(refused.value).splitlines()) == 1
    assert "Give a TOML file of plant tables." in str(refused.value)


def test_a_file_that_is_not_there_is_one_line(tmp_path):
    with pytest.raises(PlantError, match="No such file"):
        load_plant(tmp_path / "none.toml", VENT)
