"""Health over time: wear is noticed before it trips anything, weather and other moves are not, and nothing is lost or piles up."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from geartender.bench.estimators.health import Place, friction_a, relative, slope, trend
from geartender.bench.health.diary import KEPT_A_CELL, POINTS_MAX, Day, Diary, Nature, Point
from geartender.bench.health.verdicts import MEASURES, ago, assess, lost_counts
from geartender.bench.health.watcher import Health, nature_of
from geartender.simulator.device import SimulatedServo
from geartender.store import Store
from geartender.store.database import MEMORY
from geartender.world import World
from geartender.world.virtual import run_virtual
from tests.bench.weeks import Wear, free_lever, live
from tests.servo.rig import Rig, vent

NATURE = Nature(Place(0, 60, 20), 0.7, 0.02, "m")
NOON = datetime(2031, 3, 1, 12, tzinfo=UTC)


def points(*friction: float, off: float | None = None) -> list[Point]:
    return [
        Point(NOON + timedelta(days=day), "m", {"1/0": one}, {"1/0": one}, None, 1, off, 4)
        for day, one in enumerate(friction)
    ]


def test_growing_friction_is_noticed_and_said_with_what_how_much_since_when_and_what_to_look_at() -> None:
    life = live(26, Wear(friction_a_week=0.25, from_day=8), seed=3, restart_every=5)
    assert life.tripped is None
    assert life.noticed.keys() == {"vent-friction_nm"}
    assert 12 <= life.noticed["vent-friction_nm"] <= 20
    assert "Running friction at the motor of vent is" in life.texts[0]
    assert "higher than" in life.texts[0]
    assert any("running friction" in line for line in life.journal), "a line a week"
    assert life.report.points == 25, "the day that is not over yet is not a point"
    assert life.kept_bytes < 20_000


def test_worn_teeth_are_noticed_by_their_play() -> None:
    life = live(24, Wear(play_a_week=0.5, from_day=8), seed=5, sheet=free_lever())
    assert life.noticed.keys() == {"vent-play_counts"}


def test_weather_other_loads_and_other_moves_are_no_wear() -> None:
    life = live(24, Wear(), seed=7, restart_every=6)
    assert life.noticed == {}
    friction = next(one for one in life.report.trends if one.name == "friction_nm")
    assert friction.change == pytest.approx(0.0, abs=0.1)


def test_nothing_is_said_of_too_few_days_or_of_one_bad_one() -> None:
    friction = MEASURES[0]
    assert assess(friction, points(*[1.0] * 8), {}).now is None
    assert not assess(friction, points(*[1.0] * 10, 2.0), {}).shows
    assert assess(friction, points(*[1.0] * 10, *[1.3] * 4), {}).shows


def test_what_a_person_has_put_aside_is_compared_anew() -> None:
    worn = points(*[1.0] * 10, *[1.3] * 12)
    assert assess(MEASURES[0], worn, {}).shows
    anew = assess(MEASURES[0], worn, {"friction_nm": NOON + timedelta(days=10)})
    assert (anew.shows, anew.reference) == (False, 1.3)


def test_a_count_that_is_off_day_after_day_is_said_and_one_that_is_off_once_is_not() -> None:
    assert lost_counts(points(1, 1, 1, off=3.0), {}) == 3.0
    assert lost_counts(points(1, 1, 1, off=1.0), {}) is None
    assert lost_counts([*points(1, 1, off=-1.0), *points(1, off=5.0)], {}) is None


def test_other_moves_are_joined_on_and_are_no_change() -> None:
    low = [{"0/0": 1.0, "1/0": 2.0}] * 8
    both = [{"1/0": 2.0, "5/0": 9.0}] * 6
    high = [{"5/0": 9.0 * 1.1}] * 3
    assert relative([*low, *both, *high]) == pytest.approx([1.0] * 14 + [1.1] * 3)


def test_a_load_alone_is_no_friction() -> None:
    def lifted(gravity: float, friction: float, efficiency: float) -> tuple[float, float]:
        """Currents up and down for a load that drives the train downwards, its losses in the teeth."""
        return friction + gravity / efficiency, -friction + gravity * efficiency

    for gravity in (0.1, 0.2, 0.4):
        assert friction_a(*lifted(gravity, 0.05, 0.8), 0.8) == pytest.approx(0.05)


def test_the_slope_of_theil_and_sen_is_that_of_the_line_whatever_a_few_points_do() -> None:
    line = [1.0 + 0.02 * day for day in range(20)]
    line[4], line[11] = 9.0, -3.0
    assert slope(range(20), line) == pytest.approx(0.02)
    found = trend(list(range(20)), line, 0.2)
    assert found is not None
    assert found.per_week == pytest.approx(0.14)


def test_a_diary_is_bounded_and_comes_back_from_the_disk_as_it_was() -> None:
    diary = Diary()
    diary.points = points(*[1.0] * (POINTS_MAX + 50))
    diary.day = Day(NOON + timedelta(days=POINTS_MAX + 50), "m", moves=1)
    for off in range(1000):
        diary.passed_home(off, NATURE, NOON)
    assert len(diary.day.off) == KEPT_A_CELL
    diary.close_day(NATURE)
    diary.day = Day(NOON, "m", {"1/0+": [0.1]}, [3.0], [0], 2, 1)
    diary.begin_anew("friction_nm", NOON)
    assert len(diary.points) == POINTS_MAX
    again = Diary.from_state(diary.as_state(), diary.day.as_state())
    assert (again.points, again.day, again.begins) == (diary.points, diary.day, diary.begins)


def test_points_of_another_model_are_not_compared() -> None:
    diary = Diary()
    diary.points = points(1.0, 1.0, 1.0)
    assert len(diary.comparable(NATURE)) == 3
    assert diary.comparable(Nature(NATURE.place, 0.7, 0.02, "measured anew")) == []


@pytest.mark.parametrize(("days", "words"), [(1, "a day ago"), (12, "12 days ago"), (21, "3 weeks ago")])
def test_how_long_ago(days: int, words: str) -> None:
    assert ago(NOON, NOON - timedelta(days=days)) == words


def test_a_notice_stands_over_a_restart_goes_when_it_is_cured_and_is_not_repeated_once_a_person_has_put_it_aside() -> (
    None
):
    async def main(world: World) -> None:
        store = Store(MEMORY, world)
        await store.open()
        rig = Rig(world, SimulatedServo(vent()), vent())
        model, kt = nature_of(rig.servo).model, nature_of(rig.servo).kt_nm_a
        watchers: list[Health] = []

        async def after(*friction: float) -> list[str]:
            """What stands after days like these, and a day that has just come to its end."""
            days = [replace(one, model=model, at=one.at - timedelta(days=90)) for one in points(*friction)]
            kept = await store.state("health", "vent") or {}
            state = {"said": {}, "begins": {}, **kept, "points": [one.as_state() for one in days]}
            await store.set_state("health", "vent", state)
            day = Day(
                days[-1].at + timedelta(days=1),
                model,
                {"1/0+": [friction[-1] / kt], "1/0-": [-friction[-1] / kt]},
                moves=2,
            )
            await store.set_state("health-day", "vent", day.as_state())
            watcher = Health(store, {"vent": rig.servo}, world.wall)
            watchers.append(watcher)
            await watcher.begin()
            watcher.passed_home("vent", 0)
            await watcher.keep()
            return [notice.id for notice in store.notices.all()]

        assert await after(*[0.002] * 12) == []
        assert await after(*[0.002] * 8, *[0.003] * 5) == ["wear:vent-friction_nm"]
        first = store.notices.get("wear:vent-friction_nm")
        assert await after(*[0.002] * 8, *[0.003] * 6) == ["wear:vent-friction_nm"]
        assert store.notices.get("wear:vent-friction_nm") == first, "the same is not said again"
        assert await after(*[0.002] * 8, *[0.003] * 5, *[0.002] * 5) == [], "greased"
        assert await after(*[0.002] * 8, *[0.003] * 5) == ["wear:vent-friction_nm"]
        store.notices.clear("wear", "vent-friction_nm")  # a person has put it aside
        await watchers[-1].keep()
        kept = await store.state("health", "vent")
        assert kept is not None
        assert kept["begins"].keys() == {"friction_nm"}
        assert kept["said"] == {}
        assert await after(*[0.002] * 8, *[0.003] * 6) == []
        await store.close()

    run_virtual(main)
