"""Backlash taken out of the result by always arriving from the same side."""

import random

import pytest

from geartender.motion import Limits, State
from geartender.servo.live import Play
from geartender.servo.planning import Approach, Travel, plan_move
from geartender.simulator.plant import plant_of
from tests.servo.rig import Rig, on_rig, vent

LIMITS = Limits(20, 40, 200)
WHOLE = Travel(0, 75)


def test_the_play_is_known_once_the_motor_has_gone_through_it() -> None:
    play = Play(10)
    assert play.slack(1, 100) == 10
    play.follow(100, driven=True)
    assert (play.slack(1, 100), play.slack(-1, 100)) == (10, 10)
    play.follow(107, driven=True)
    assert play.slack(1, 107) == 3
    play.follow(130, driven=True)
    assert (play.slack(1, 130), play.slack(-1, 130)) == (0, 10)
    play.follow(126, driven=True)
    assert (play.slack(1, 126), play.slack(-1, 126)) == (4, 6)
    play.follow(126, driven=False)
    assert (play.slack(1, 126), play.slack(-1, 126)) == (10, 10)


@pytest.mark.parametrize(("side", "start", "target"), [(1, 50.0, 20.0), (-1, 20.0, 50.0)])
def test_a_move_from_the_wrong_side_goes_past_and_comes_back(side: int, start: float, target: float) -> None:
    path = plan_move(State(start), target, LIMITS, WHOLE, Approach(side, 1.25), 0.0)
    low, high = path.extremes()
    assert (low if side > 0 else high) == pytest.approx(target - side * 1.25)
    assert path.end.position == target
    assert side * path.at(path.duration - 0.05).velocity > 0


def test_from_the_right_side_it_goes_straight_if_it_takes_up_the_play() -> None:
    straight = plan_move(State(10), 20, LIMITS, WHOLE, Approach(1, 1.25), 1.25)
    assert straight.extremes() == (10, 20)
    short = plan_move(State(19.5), 20, LIMITS, WHOLE, Approach(1, 1.25), 1.25)
    assert short.extremes()[0] == pytest.approx(18.75)
    taken_up = plan_move(State(19.5), 20, LIMITS, WHOLE, Approach(1, 1.25), 0.0)
    assert taken_up.extremes() == (19.5, 20)


def test_it_stays_in_the_travel() -> None:
    path = plan_move(State(30), 0.4, LIMITS, WHOLE, Approach(1, 1.25), 0.0)
    assert path.extremes()[0] >= 0
    assert plan_move(State(30), 0.0, LIMITS, WHOLE, Approach(1, 1.25), 0.0).end.position == 0


@pytest.mark.parametrize("approach", ["from_below", "from_above"])
def test_with_a_degree_of_backlash_it_is_repeatable_within_a_count(approach: str) -> None:
    sheet = vent(rest={"approach": approach}, travel={"min_deg": -5, "max_deg": 75})
    plant = plant_of(sheet)
    plant = plant.model_copy(
        update={
            "gear": plant.gear.model_copy(update={"backlash_deg": 1.0}),
            "load": plant.load.model_copy(update={"gravity_nm": 0.0, "friction_nm": 0.4}),
        }
    )
    document = sheet.model_dump(exclude_unset=True)
    document["mesh"][-1]["backlash_mm"] = 1.2
    sheet = type(sheet).model_validate(document)

    async def scenario(rig: Rig) -> None:
        await rig.homed()
        dice, seen = random.Random(4), []
        for _ in range(8):
            await rig.go(round(dice.uniform(5, 70), 2))
            await rig.go(40.0)
            seen.append(rig.truth_deg)
        assert max(seen) - min(seen) <= rig.servo.snapshot().deg_per_count

    on_rig(scenario, sheet, plant)
