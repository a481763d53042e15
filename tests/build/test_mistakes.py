"""Every mistake in a build sheet gets one line: its place, what is wrong, what to do. All of them at once."""

import json
import math
import random
import tomllib
from typing import Any

import pytest
from pydantic import BaseModel, ValidationError

from geartender.build import BuildSheet, build_document, load_build, parse_build
from geartender.errors import BuildSheetError, GeartenderError, Mistake
from tests.build.test_files import EXAMPLE, LEAST

FULL = build_document(load_build(EXAMPLE))


def changed(changes: dict[str, Any], base: dict[str, Any] | None = None) -> dict[str, Any]:
    """The example sheet with some values at dotted paths replaced, or removed where the new value is None."""
    sheet: dict[str, Any] = json.loads(json.dumps(FULL if base is None else base))
    for path, value in changes.items():
        *parents, last = (int(step) if step.isdigit() else step for step in path.split("."))
        place: Any = sheet
        for step in parents:
            place = place.setdefault(step, {}) if isinstance(step, str) else place[step]
        if value is None:
            del place[last]
        else:
            place[last] = value
    return sheet


def lines(source: object) -> list[str]:
    with pytest.raises(BuildSheetError) as caught:
        parse_build(source)
    return [str(item) for item in caught.value.items]


@pytest.mark.parametrize(
    ("changes", "expected"),
    [
        (
            {"mesh.0.driven_teeth": 0},
            "mesh[0].driven_teeth: must be at least 1, got 0. Count the teeth of the driven gear.",
        ),
        (
            {"travel.min_deg": 90, "travel.max_deg": 10},
            "travel: min_deg (90) is not below max_deg (10). Swap them, or set endless = true.",
        ),
        ({"motor.suply_v": 12}, "motor.suply_v: is not a known key. Did you mean supply_v?"),
        ({"moter": {}}, "moter: is not a known key. Did you mean motor?"),
        (
            {"home.quickly": True},
            "home.quickly: is not a known key. Known here: angle_deg, seek, speed_deg_s, mark_is.",
        ),
        (
            {"mesh.1.teeth": 5},
            (
                "mesh[1].teeth: is not a known key. Known here: "
                "driven_teeth, module_mm, face_mm, allowable_mpa, backlash_mm, centre_error_mm, kind, driver_teeth, efficiency."
            ),
        ),
        (
            {"disc.marks_per_turn": 2.5},
            (
                "disc.marks_per_turn: must be a whole number, got 2.5. "
                "Count the magnets or slots that pass one sensor in a turn of the motor."
            ),
        ),
        (
            {"motor.no_load_rpm": "fast"},
            (
                'motor.no_load_rpm: must be a number, got "fast". '
                "Give the speed of the free-running motor, before any gear, at supply_v."
            ),
        ),
        (
            {"mesh.0.kind": "spurr"},
            (
                'mesh[0].kind: must be "spur" or "worm", got "spurr". '
                'Say "spur" for two toothed wheels, "worm" for a worm and its wheel.'
            ),
        ),
        (
            {"mesh.0.kind": None},
            'mesh[0].kind: is missing. Say "spur" for two toothed wheels, "worm" for a worm and its wheel.',
        ),
        (
            {"overload.action": "halt"},
            (
                'overload.action: must be "stop" or "ease", got "halt". '
                'Say "stop" to stop with a fault, or "ease" to hold the torque there and go on.'
            ),
        ),
        (
            {"travel.endless": "yes"},
            (
                'travel.endless: must be true or false, got "yes". '
                "Say true for an output that may turn for ever, without min_deg and max_deg."
            ),
        ),
        (
            {"travel.up_word": ""},
            "travel.up_word: must not be empty. Give the word for larger angles, at most 16 characters.",
        ),
        (
            {"motor.winding_ohm": None},
            "motor: lacks a value at stall. Give one of winding_ohm, stall_current_a, stall_torque_nm.",
        ),
        (
            {"motor.stall_current_a": 2.0},
            (
                "motor.stall_current_a: (2) disagrees with winding_ohm (9): from that, supply_v and the no-load values it would "
                "be 1.333, and it is 50% above. Correct the one that is wrong, or remove it."
            ),
        ),
        (
            {"motor.no_load_current_a": 2.0},
            "motor.no_load_current_a: (2) is not below the stall current (1.333 A). Check both, and supply_v.",
        ),
        (
            {"travel.min_deg": None},
            "travel: needs both min_deg and max_deg. Give both, or set endless = true.",
        ),
        (
            {"travel.endless": True},
            "travel: is endless, so it has no ends. Remove min_deg and max_deg, or endless.",
        ),
        (
            {"home.speed_deg_s": 21},
            "home.speed_deg_s: (21) is above limits.speed_deg_s (20). Home more slowly.",
        ),
        (
            {"limits.torque_nm": 7},
            "limits.torque_nm: (7) is above overload.torque_nm (6.5). Lower it, or raise the other.",
        ),
        (
            {"input.clamp_v": 3.3, "input.divider_ohm": 1000},
            "input: has both clamp_v and divider_ohm. Keep the one that is fitted.",
        ),
        (
            {"input.sensor_low_v": 3.3},
            "input: sensor_low_v (3.3) is not below sensor_high_v (3.3). Swap them.",
        ),
        (
            {"pulse.min_us": 1600},
            "pulse: min_us, mid_us, max_us (1600, 1500, 2000) do not rise. Put them in order.",
        ),
        (
            {"pulse.min_deg": 10, "pulse.max_deg": 10},
            "pulse: min_deg and max_deg are both 10. Give two different angles.",
        ),
        (
            {"pulse.max_deg": 90},
            "pulse.max_deg: (90) is outside the travel, 0 to 75. Bring it inside.",
        ),
        (
            {"travel": {"endless": True}, "pulse.max_deg": 90},
            "pulse: has no angles, and an endless travel has no ends. Give min_deg and max_deg.",
        ),
        (
            {"pins.disc_b": 10},
            "pins.disc_b: (10) is not the one after disc_a (2). The counter reads two neighbours: use 3.",
        ),
        ({"pins.home": 6}, "pins: home and pwm_a share GPIO 6. Give each its own."),
        ({"pins.tx": 0}, "pins: has only one of tx and rx. Give both, or neither for USB."),
        ({"pins.pwm_b": 9, "pulse.enabled": True}, "pins: pwm_b and pulse share GPIO 9. Give each its own."),
        (
            {"pins.supply": 20},
            (
                "pins.supply: must be at least 26, got 20. "
                "Give the analog GPIO (26 to 29) that reads the supply through a divider. Left out: it is not measured."
            ),
        ),
        (
            {"mesh.0": {"kind": "worm", "starts": 1, "driven_teeth": 40, "lead_angle_deg": 89, "friction": 0.5}},
            "mesh[0].lead_angle_deg: (89) lets no power pass at this friction. Check both.",
        ),
        (
            {"mesh": []},
            "mesh: must have at least 1. Add a [[mesh]] for every pair of gears, from the motor to the output, up to 32.",
        ),
        (
            {"disc": None},
            "disc: is missing. Add a [disc] table with marks_per_turn.",
        ),
        (
            {"home": [1]},
            "home: must be a table, got [1]. Write it as a [home] table.",
        ),
    ],
)
def test_a_mistake_has_its_place_what_is_wrong_and_what_to_do(changes: dict[str, Any], expected: str) -> None:
    assert lines(changed(changes)) == [expected]


def test_all_mistakes_come_at_once_those_across_fields_included() -> None:
    found = lines(
        LEAST.replace("winding_ohm = 7.5", "suply = 3")
        .replace("driver_teeth = 11", "driver_teeth = -1")
        .replace("= 4\n", "= nan\n")
        + '[travel]\nmin_deg = 9\nmax_deg = 1\nup = "Open"\n[pins]\nhome = 6\ndisc_b = "x"\n'
    )
    assert [line.split(":")[0] for line in found] == [
        "motor.suply",
        "disc.marks_per_turn",
        "mesh[0].driver_teeth",
        "travel.up",
        "pins.disc_b",
        "motor",
        "travel",
        "pins",
    ]


def test_what_rests_on_a_mistaken_field_is_not_complained_about_twice() -> None:
    assert lines(changed({"motor.winding_ohm": "x"})) == [
        (
            'motor.winding_ohm: must be a number, got "x". Measure the resistance across the terminals, cold, '
            "turning the shaft to several places; take the lowest reading."
        )
    ]


@pytest.mark.parametrize(("value", "shown"), [(math.nan, "nan"), (math.inf, "inf"), (-math.inf, "-inf")])
def test_nan_and_infinities_are_refused_in_every_number(value: float, shown: str) -> None:
    for table, fields in FULL.items():
        for name, good in fields.items() if isinstance(fields, dict) else ():
            if isinstance(good, float):
                [line] = lines(changed({f"{table}.{name}": value}))
                assert line.startswith(f"{table}.{name}: must be a finite number, got {shown}.")


def test_every_mistake_is_a_member_of_a_problems_errors() -> None:
    with pytest.raises(BuildSheetError) as caught:
        parse_build(changed({"mesh.2.driven_teeth": 0, "travel.min_deg": 90}))
    assert [item.as_problem() for item in caught.value.items] == [
        {
            "detail": "mesh[2].driven_teeth: must be at least 1, got 0. Count the teeth of the driven gear.",
            "pointer": "#/mesh/2/driven_teeth",
        },
        {
            "detail": "travel: min_deg (90) is not below max_deg (75). Swap them, or set endless = true.",
            "pointer": "#/travel",
        },
    ]


def test_a_long_value_is_shortened() -> None:
    [line] = lines(changed({"motor.no_load_rpm": "x" * 5000}))
    assert len(line) < 200


@pytest.mark.parametrize("source", [[], 5, None, [1, 2], True])
def test_what_is_no_sheet_at_all_is_refused(source: object) -> None:
    assert lines(source) == ["is not a build sheet: it must hold tables such as motor, disc and mesh."]


def test_an_empty_sheet_names_what_it_needs() -> None:
    assert [line.split(":")[0] for line in lines("")] == ["motor", "disc", "mesh"]


def test_the_error_is_one_of_ours_with_one_line_for_each_mistake() -> None:
    error = BuildSheetError([Mistake("a", "#/a", "is wrong."), Mistake("b", "#/b", "too.")], "vent.toml")
    assert isinstance(error, GeartenderError)
    assert str(error) == "vent.toml: a: is wrong.\nvent.toml: b: too."


def test_a_model_validated_elsewhere_refuses_contradictions_too() -> None:
    class Holder(BaseModel):
        sheet: BuildSheet

    with pytest.raises(ValidationError, match="Swap them, or set endless"):
        Holder.model_validate({"sheet": changed({"travel.min_deg": 90})})


ODD = [None, True, 0, -1, 10**400, 1e308, math.nan, "", "x" * 300, [], [[]], {}, {"a": {}}, [{"kind": []}], "\x00"]


def mistakes_of(source: object) -> tuple[Mistake, ...]:
    try:
        parse_build(source)
    except BuildSheetError as error:
        return error.items
    return ()


def test_whatever_stands_in_a_sheet_is_answered_in_lines_and_never_otherwise() -> None:
    rng = random.Random(3)
    fields = [(table, name) for table, held in FULL.items() if isinstance(held, dict) for name in held]
    places = [*((table, None) for table in FULL), *fields]
    refused = 0
    for _ in range(3000):
        sheet: Any = json.loads(json.dumps(FULL))
        for table, name in rng.sample(places, rng.randint(1, 4)):
            if name is not None and isinstance(sheet[table], dict):
                sheet[table][name] = rng.choice(ODD)
            else:
                sheet[table] = rng.choice(ODD)
        found = mistakes_of(sheet)
        refused += bool(found)
        for item in found:
            assert "\n" not in str(item)
            assert item.pointer.startswith("#")
    assert refused > 2500


def test_a_table_in_toml_and_the_same_in_json_give_the_same_sheet() -> None:
    assert parse_build(json.loads(json.dumps(tomllib.loads(LEAST)))) == parse_build(LEAST)
