"""The search for trains: complete and in order against trying everything, sparing with looks, plain when there is none."""

import random
from fractions import Fraction
from typing import Any

import pytest
from pydantic import ValidationError

from geartender.build import BuildSheet, figures, load_build, parse_build, write_build
from geartender.build.motor import motor_constants
from geartender.build.trains import RULE, TrainRequest, TrainsFound, find_trains
from geartender.build.trains.search import Search
from geartender.build.trains.task import Task
from geartender.cli.running import ridge_vent
from geartender.errors import BuildSheetError
from tests.build.trains_by_trying import Row, all_trains

MODULES = [0.5, 0.8, 1.0, 1.25, 1.5, 2.0, 2.5, 3.0]
CASES = 60
LOOKS = 2000
"""Partial trains that a search over four meshes of 12 to 80 teeth may go into; there are some 10^14 whole ones."""


def vent(**bridge: float) -> BuildSheet:
    sheet = load_build(ridge_vent())
    return sheet.model_copy(update={"bridge": sheet.bridge.model_copy(update=bridge)})


def find(sheet: BuildSheet | None = None, **asked: Any) -> TrainsFound:
    request = {"speed_deg_s": 20.0, "torque_nm": 5.5, "modules_mm": MODULES, **asked}
    return find_trains(sheet or vent(), TrainRequest(**request))


def rows(found: TrainsFound) -> list[Row]:
    return [tuple((m.driver_teeth, m.driven_teeth, m.module_mm) for m in train.meshes) for train in found.items]


def random_request(dice: random.Random, sheet: BuildSheet) -> TrainRequest:
    """A small request near the edge of what the motor, the teeth and the bed can do, with everything said."""
    meshes = dice.choice([1, 2, 2, 3, 3, 4])
    fewest = dice.randint(12, 40)
    most = fewest + dice.randint(1, {1: 12, 2: 6, 3: 3, 4: 2}[meshes])
    motor, efficiency = motor_constants(sheet.motor), dice.uniform(0.7, 1.0)
    ratio = (most / fewest) ** (meshes * dice.uniform(-0.9, 0.9))
    speed = dice.uniform(0.1, 0.7)
    torque = motor.stall_torque_nm * ratio * efficiency**meshes * (1 - speed) * dice.uniform(0.2, 0.9)
    modules = dice.sample([0.3, 0.5, 0.8, 1.25, 2.0, 3.5], dice.randint(1, 4))
    return TrainRequest(
        speed_deg_s=motor.no_load_rad_s * 57.3 * speed / ratio,
        torque_nm=torque,
        fewest_teeth=fewest,
        most_teeth=most,
        most_meshes=meshes,
        modules_mm=modules,
        face_modules=dice.uniform(5.0, 12.0),
        face_mm=dice.choice([None, 6.0]),
        allowable_mpa=10 ** dice.uniform(0.0, 2.5),
        efficiency=efficiency,
        bed_mm=dice.choice([None, most * max(modules) * dice.uniform(0.5, 1.5)]),
        most=dice.choice([1, 5, 100]),
    )


def random_case(seed: int) -> tuple[BuildSheet, TrainRequest]:
    dice = random.Random(seed)
    sheet = vent(max_duty=dice.uniform(0.6, 1.0), current_limit_a=dice.uniform(0.8, 1.5))
    return sheet, random_request(dice, sheet)


@pytest.mark.parametrize("seed", range(CASES))
def test_it_finds_what_trying_everything_finds_in_the_same_order(seed: int) -> None:
    sheet, request = random_case(seed)
    found = find_trains(sheet, request)
    assert rows(found) == all_trains(sheet, request)[: request.most]
    assert (found.none_because is None) == bool(found.items)


def test_the_random_cases_have_many_answers_and_few_and_none() -> None:
    counts = [len(find_trains(*random_case(seed)).items) for seed in range(CASES)]
    assert sum(count == 0 for count in counts) >= CASES // 5
    assert sum(1 <= count < 5 for count in counts) >= CASES // 10
    assert sum(count >= 5 for count in counts) >= CASES // 5


def task(sheet: BuildSheet | None = None, **asked: Any) -> Task:
    request = {"speed_deg_s": 20.0, "torque_nm": 5.5, "modules_mm": MODULES, **asked}
    return Task.of(sheet or vent(), TrainRequest(**request))


@pytest.mark.parametrize(
    "asked",
    [
        {},
        {"most": 100},
        {"speed_deg_s": 10.0, "torque_nm": 12.0},
        {"modules_mm": [0.5], "allowable_mpa": 2000.0, "most": 100},
        {"most_teeth": 150},
        {"speed_deg_s": 22.71, "torque_nm": 5.5},
    ],
)
def test_four_meshes_are_searched_with_few_looks(asked: dict[str, Any]) -> None:
    search = Search(task(**asked), 4, lambda _: None)
    assert len(search.run()) == asked.get("most", 20)
    assert search.looked_at <= LOOKS


@pytest.mark.parametrize("asked", [{}, {"modules_mm": [0.5], "allowable_mpa": 2000.0}])
def test_whoever_asks_for_fewer_gets_the_first_of_the_same_ranking_also_among_equals(asked: dict[str, Any]) -> None:
    ranking = Search(task(**asked, most=100), 4, lambda _: None).run()
    sizes = [found.size for found in ranking]
    assert len(set(sizes)) < len(sizes)
    for most in (1, 3, 10, 40):
        assert Search(task(**asked, most=most), 4, lambda _: None).run() == ranking[:most]


@pytest.mark.parametrize(
    "asked", [{"allowable_mpa": 1.403}, {"bed_mm": 77.9}, {"modules_mm": [1.5], "allowable_mpa": 11.17}]
)
def test_that_no_teeth_bear_it_is_seen_with_few_looks(asked: dict[str, Any]) -> None:
    search = Search(task(**asked), 4, lambda _: None)
    assert search.run() == []
    assert search.looked_at <= LOOKS


def test_every_train_does_by_its_own_figures_what_was_asked_for() -> None:
    for train in find(speed_deg_s=20.0, torque_nm=5.5).items:
        limits = {"speed_deg_s": 20.0, "accel_deg_s2": 40.0, "jerk_deg_s3": 200.0}
        document = {**train.build, "load": {"friction_nm": 5.5}, "limits": limits}
        shown = figures(parse_build(document))
        assert shown.working_point.reachable
        assert shown.gear_ratio == Fraction(train.gear_ratio_exact.split(" = ")[1])
        assert shown.working_point.current_a == pytest.approx(train.current_a)
        for mesh, by_figures in zip(train.meshes, shown.meshes, strict=True):
            assert 5.5 <= mesh.limit_torque_nm <= (by_figures.limit_torque_nm or 0.0)
        assert min(mesh.limit_torque_nm for mesh in train.meshes) == pytest.approx(5.5 * train.torque_margin)
        assert train.meshes[train.weakest_mesh].limit_torque_nm == pytest.approx(5.5 * train.torque_margin)


def test_the_speed_is_the_one_at_which_the_duty_is_used_up() -> None:
    train = find(speed_deg_s=20.0, torque_nm=5.5).items[0]
    assert train.speed_deg_s > 20.0
    again = find(speed_deg_s=train.speed_deg_s * (1 - 1e-6), torque_nm=5.5, most=100)
    assert train.gear_ratio in {each.gear_ratio for each in again.items}
    beyond = find(speed_deg_s=train.speed_deg_s * (1 + 1e-6), torque_nm=5.5, most=100)
    assert train.gear_ratio not in {each.gear_ratio for each in beyond.items}


def test_a_train_opens_as_a_sheet_with_everything_but_the_meshes_kept() -> None:
    sheet = vent()
    train = find(sheet, bed_mm=120.0).items[0]
    opened = parse_build(write_build(parse_build(train.build)))
    assert opened.model_copy(update={"mesh": sheet.mesh}) == sheet
    assert [mesh.module_mm for mesh in opened.mesh] == [mesh.module_mm for mesh in train.meshes]
    assert len(opened.mesh) == 4


def test_no_wheel_is_larger_than_the_bed() -> None:
    free, bound = find(), find(bed_mm=93.0)
    assert free.items[0].largest_wheel_mm > 93.0
    assert bound.items
    for train in bound.items:
        assert train.largest_wheel_mm <= 93.0
        assert train.largest_wheel_mm == max(mesh.module_mm * (mesh.driven_teeth + 2) for mesh in train.meshes)


def test_what_is_left_out_comes_from_the_sheet_or_is_common() -> None:
    sheet = vent()
    taken = Task.of(sheet, TrainRequest(speed_deg_s=20.0, torque_nm=5.5))
    assert (taken.modules_mm, taken.allowable_mpa, taken.efficiency) == ((0.8, 1.0, 1.25, 1.75), 14.0, 0.9)
    bare = [mesh.model_copy(update={"module_mm": None}) for mesh in sheet.mesh]
    taken = Task.of(sheet.model_copy(update={"mesh": bare}), TrainRequest(speed_deg_s=20.0, torque_nm=5.5))
    assert taken.modules_mm == tuple(MODULES)
    weak = [mesh.model_copy(update={"allowable_mpa": None}) for mesh in sheet.mesh]
    with pytest.raises(BuildSheetError) as refused:
        Task.of(sheet.model_copy(update={"mesh": weak}), TrainRequest(speed_deg_s=20.0, torque_nm=5.5))
    assert [item.pointer for item in refused.value.items] == ["#/allowable_mpa"]


def test_modules_are_measured_exactly_as_they_are_written() -> None:
    steps = task(modules_mm=[0.7, 0.1, 1.25, 0.3, 0.1]).modules_in_steps()
    assert steps == [2, 6, 14, 25]


@pytest.mark.parametrize(
    ("asked", "bridge", "reason"),
    [
        ({"speed_deg_s": 200.0}, {}, "The motor has not the power: 5.5 N·m at 200°/s take 21.3 W"),
        ({}, {"current_limit_a": 0.3}, "The bridge's current limit is in the way: 5.5 N·m at 20°/s take 0."),
        ({"most_meshes": 3}, {}, "Too few meshes or teeth: through 3 meshes the motor needs a ratio of 348.2 at least"),
        ({"most_teeth": 40}, {}, "Too few meshes or teeth: through 4 meshes"),
        ({"fewest_teeth": 80, "torque_nm": 0.1, "speed_deg_s": 90.0}, {}, "Too few meshes or teeth: through 4 meshes"),
        (
            {"most_teeth": 13, "torque_nm": 0.01364, "speed_deg_s": 1.3e4, "most_meshes": 1},
            {},
            "No whole teeth make the ratio: through 1 mesh",
        ),
        ({"bed_mm": 77.0}, {}, "The bed is too small: the shortest train without that limit has a wheel of 94 mm"),
        ({"allowable_mpa": 1.0}, {}, "The teeth do not bear 5.5 N·m at 20°/s: even the strongest last mesh"),
        ({"allowable_mpa": 1.4}, {}, "The teeth do not bear 5.5 N·m at 20°/s with 1.4 MPa in every mesh"),
        ({"modules_mm": [0.5], "bed_mm": 15.0}, {}, "Bed and teeth are both in the way."),
    ],
)
def test_when_there_is_none_the_limit_in_the_way_is_named(
    asked: dict[str, Any], bridge: dict[str, float], reason: str
) -> None:
    found = find(vent(**bridge), **asked)
    assert found.items == []
    assert found.none_because is not None
    assert found.none_because.startswith(reason)


def test_the_limit_named_is_the_one_that_helps() -> None:
    assert find(bed_mm=77.0).items == []
    assert find(bed_mm=94.0).items
    assert "Teeth that bear more would do as well." in (find(bed_mm=77.0).none_because or "")
    assert find(bed_mm=77.0, allowable_mpa=20.0).items
    assert "280 MPa" in (find(modules_mm=[0.5]).none_because or "")
    assert find(modules_mm=[0.5], allowable_mpa=279.0).items == []


def test_the_answer_says_its_rule_what_was_taken_and_what_was_not_looked_at() -> None:
    found = find()
    assert found.rule == RULE
    assert "14 MPa" in found.notes[0]
    assert "jam" in found.notes[1]
    assert "next axle" in found.notes[2]


def test_the_share_done_only_rises_and_ends_below_the_whole() -> None:
    shares: list[float] = []
    find_trains(vent(), TrainRequest(speed_deg_s=20.0, torque_nm=5.5), shares.append)
    assert len(shares) > 10
    assert shares == sorted(shares)
    assert shares[0] >= 0.0
    assert shares[-1] <= 1.0


@pytest.mark.parametrize(
    "wrong",
    [
        {"speed_deg_s": 0.0},
        {"torque_nm": float("inf")},
        {"fewest_teeth": 11},
        {"fewest_teeth": 40, "most_teeth": 39},
        {"most_teeth": 151},
        {"most_meshes": 0},
        {"most_meshes": 5},
        {"modules_mm": []},
        {"modules_mm": [0.0]},
        {"efficiency": 0.0},
        {"most": 101},
        {"ratio": 30.0},
    ],
)
def test_what_makes_no_sense_is_refused(wrong: dict[str, Any]) -> None:
    with pytest.raises(ValidationError):
        TrainRequest.model_validate({"speed_deg_s": 20.0, "torque_nm": 5.5, **wrong})
