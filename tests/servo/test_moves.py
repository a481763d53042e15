"""Moves: where they end, how long they take, what replaces, waits or is refused."""

import asyncio
import random
from itertools import pairwise

import pytest
from pydantic import ValidationError

from geartender.errors import Busy, OutsideTravel, OverLimit
from geartender.servo.motions import Motion
from geartender.servo.requests import MoveRequest, WhenBusy
from tests.firmware.kit import rigid
from tests.servo.rig import ANNA, BERT, Rig, direct, on_rig


@pytest.mark.parametrize("count", [12, pytest.param(200, marks=pytest.mark.slow)])
def test_random_moves_end_within_a_count_of_their_target_in_truth(count: int) -> None:
    async def scenario(rig: Rig) -> None:
        await rig.homed()
        dice = random.Random(9)
        for _ in range(count):
            target = round(dice.uniform(0, 75), 3)
            motion = await rig.go(target)
            assert motion.state == "done"
            assert abs(rig.truth_deg - target) <= rig.servo.snapshot().deg_per_count
            assert abs(motion.report().error_deg or 0) <= rig.servo.snapshot().deg_per_count

    on_rig(scenario, direct(), rigid(direct()))


def test_a_move_tells_its_duration_beforehand_and_keeps_it() -> None:
    async def scenario(rig: Rig) -> None:
        await rig.homed()
        motion = await rig.go(40)
        assert motion.planned_s is not None
        assert motion.actual_s is not None
        assert 0 <= motion.actual_s - motion.planned_s < 0.6
        assert motion.peak_torque_nm is not None
        assert motion.peak_torque_nm > 0
        rows = motion.trace_rows()
        assert len(rows) > 50
        assert rows[0].t_s < 0.1
        assert [row.t_s for row in rows] == sorted(row.t_s for row in rows)

    on_rig(scenario)


def test_a_wanted_duration_is_kept_and_one_too_short_is_refused_with_the_shortest() -> None:
    async def scenario(rig: Rig) -> None:
        await rig.homed()
        motion = await rig.go(20, duration_s=6.0)
        assert motion.planned_s == pytest.approx(6.0, abs=1e-3)
        with pytest.raises(OverLimit) as caught:
            await rig.servo.move(ANNA, MoveRequest(to_deg=70, duration_s=1.0))
        shortest = caught.value.extra["shortest_s"]
        assert isinstance(shortest, float)
        motion = await rig.go(70, duration_s=shortest + 0.01)
        assert motion.state == "done"

    on_rig(scenario)


def test_lower_limits_are_kept_and_higher_ones_refused() -> None:
    async def scenario(rig: Rig) -> None:
        await rig.homed()
        motion = await rig.go(20, speed_deg_s=5.0)
        assert max(abs(row.speed_deg_s) for row in motion.trace_rows()) < 5.6
        for field, value in (("speed_deg_s", 21.0), ("accel_deg_s2", 41.0), ("jerk_deg_s3", 201.0)):
            with pytest.raises(OverLimit, match=field):
                await rig.servo.move(ANNA, MoveRequest(to_deg=10, **{field: value}))
        with pytest.raises(OverLimit, match="torque_nm"):
            await rig.servo.move(ANNA, MoveRequest(to_deg=10, torque_nm=5.6))
        assert rig.servo.snapshot().motion is None

    on_rig(scenario)


def test_a_torque_bound_holds_for_its_own_motion_only() -> None:
    async def scenario(rig: Rig) -> None:
        await rig.homed()
        rig.sim.command("load 2.5")
        motion = await rig.go(20, torque_nm=5.0)
        assert motion.state == "done"
        assert motion.peak_torque_nm is not None
        assert motion.peak_torque_nm > 2.5
        motion = await rig.go(50, torque_nm=2.0)
        assert motion.state == "faulted"
        assert rig.servo.snapshot().fault is not None
        await rig.servo.reset(ANNA)
        await rig.servo.arm(ANNA)
        assert (await rig.go(60)).state == "done"

    on_rig(scenario)


@pytest.mark.parametrize("target", [-0.1, 75.1, 300_000.0])
def test_a_target_outside_the_travel_is_refused_and_nothing_moves(target: float) -> None:
    async def scenario(rig: Rig) -> None:
        await rig.homed()
        with pytest.raises(OutsideTravel):
            await rig.servo.move(ANNA, MoveRequest(to_deg=target))
        assert rig.servo.snapshot().state == "ready"

    on_rig(scenario)


def test_a_move_by_an_angle_counts_from_the_target_of_the_running_one() -> None:
    async def scenario(rig: Rig) -> None:
        await rig.homed()
        await rig.servo.move(ANNA, MoveRequest(to_deg=40))
        await rig.until(lambda: rig.angle > 10)
        motion = await rig.servo.move(ANNA, MoveRequest(by_deg=-10))
        assert motion.target_deg == 30
        await motion.ended()
        assert motion.end_deg == pytest.approx(30, abs=0.05)

    on_rig(scenario)


@pytest.mark.parametrize("target", [70.0, 12.0, 0.0])
def test_a_move_replaces_the_running_one_without_a_jolt(target: float) -> None:
    async def scenario(rig: Rig) -> None:
        await rig.homed()
        first = await rig.servo.move(ANNA, MoveRequest(to_deg=50))
        await rig.until(lambda: rig.angle > 20)
        second = await rig.servo.move(ANNA, MoveRequest(to_deg=target))
        await first.ended()
        await second.ended()
        assert (first.state, second.state) == ("replaced", "done")
        assert second.end_deg == pytest.approx(target, abs=0.05)
        rows = [*first.trace_rows(), *second.trace_rows()]
        speeds = [row.speed_deg_s for row in rows]
        # a telemetry period at the sheet's acceleration, and the estimator's grain
        assert max(abs(two - one) for one, two in pairwise(speeds)) < 40 * 0.06 + 2.5

    on_rig(scenario)


def test_a_flood_of_replacements_leaves_only_the_last() -> None:
    async def scenario(rig: Rig) -> None:
        await rig.homed()
        motions: list[Motion] = []
        for target in (10, 60, 20, 70, 30, 5, 44):
            motions.append(await rig.servo.move(ANNA, MoveRequest(to_deg=target)))
            await asyncio.sleep(0.11)
        await motions[-1].ended()
        assert [motion.state for motion in motions] == ["replaced"] * 6 + ["done"]
        assert motions[-1].end_deg == pytest.approx(44, abs=0.05)

    on_rig(scenario)


def test_moves_at_the_same_moment_are_taken_one_after_the_other() -> None:
    async def scenario(rig: Rig) -> None:
        await rig.homed()
        motions = await asyncio.gather(*(rig.servo.move(ANNA, MoveRequest(to_deg=to)) for to in (10, 20, 30)))
        await asyncio.gather(*(motion.ended() for motion in motions))
        assert [motion.state for motion in motions] == ["replaced", "replaced", "done"]

    on_rig(scenario)


def test_queued_moves_follow_in_order() -> None:
    async def scenario(rig: Rig) -> None:
        await rig.homed()
        first = await rig.servo.move(ANNA, MoveRequest(to_deg=10))
        rest = [
            await rig.servo.move(ANNA, MoveRequest(to_deg=20, when_busy=WhenBusy.QUEUE)),
            await rig.servo.move(ANNA, MoveRequest(by_deg=-5, when_busy=WhenBusy.QUEUE)),
            await rig.servo.move(ANNA, MoveRequest(by_deg=7, when_busy=WhenBusy.QUEUE)),
        ]
        assert [motion.state for motion in rest] == ["queued"] * 3
        for motion in (first, *rest):
            await motion.ended()
        assert [motion.state for motion in (first, *rest)] == ["done"] * 4
        assert [motion.end_deg for motion in rest] == pytest.approx([20, 15, 22], abs=0.05)

    on_rig(scenario)


def test_a_queued_move_waits_for_homing() -> None:
    async def scenario(rig: Rig) -> None:
        await rig.armed()
        home = await rig.servo.home(ANNA)
        move = await rig.servo.move(ANNA, MoveRequest(to_deg=5, when_busy=WhenBusy.QUEUE))
        with pytest.raises(Busy):
            await rig.servo.home(ANNA)
        await move.ended()
        assert (home.state, move.state) == ("done", "done")

    on_rig(scenario)


def test_a_move_takes_the_place_of_the_queue_too_but_only_when_it_is_accepted() -> None:
    async def scenario(rig: Rig) -> None:
        await rig.homed()
        first = await rig.servo.move(ANNA, MoveRequest(to_deg=30))
        waiting = await rig.servo.move(ANNA, MoveRequest(to_deg=20, when_busy=WhenBusy.QUEUE))
        with pytest.raises(OverLimit):
            await rig.servo.move(ANNA, MoveRequest(to_deg=70, duration_s=0.5))
        assert (first.state, waiting.state) == ("running", "queued")
        last = await rig.servo.move(ANNA, MoveRequest(to_deg=10))
        assert waiting.state == "replaced"
        await last.ended()
        assert (first.state, last.state) == ("replaced", "done")

    on_rig(scenario)


def test_a_stop_empties_the_queue() -> None:
    async def scenario(rig: Rig) -> None:
        await rig.homed()
        first = await rig.servo.move(ANNA, MoveRequest(to_deg=30))
        second = await rig.servo.move(ANNA, MoveRequest(to_deg=20, when_busy=WhenBusy.QUEUE))
        await asyncio.sleep(0.5)
        rig.servo.stop(BERT, 2)
        assert second.state == "stopped"
        await first.ended()
        assert first.state == "stopped"
        assert first.reason == "stopped by Bert"
        await asyncio.sleep(3)
        assert rig.servo.snapshot().state == "ready"
        assert rig.angle < 20

    on_rig(scenario)


def test_a_move_that_is_to_be_refused_when_busy_is() -> None:
    async def scenario(rig: Rig) -> None:
        await rig.homed()
        await rig.servo.move(ANNA, MoveRequest(to_deg=30))
        with pytest.raises(Busy):
            await rig.servo.move(ANNA, MoveRequest(to_deg=20, when_busy=WhenBusy.REFUSE))

    on_rig(scenario)


def test_a_move_to_where_it_stands_is_done_at_once() -> None:
    async def scenario(rig: Rig) -> None:
        await rig.homed()
        await rig.go(15)
        motion = await rig.go(15)
        assert motion.state == "done"
        assert motion.actual_s is not None
        assert motion.actual_s < 0.9

    on_rig(scenario)


@pytest.mark.parametrize(
    "body",
    [
        {},
        {"to_deg": 1, "by_deg": 1},
        {"to_deg": float("nan")},
        {"to_deg": float("inf")},
        {"to_deg": 1, "speed_deg_s": 0},
        {"to_deg": 1, "speed_deg_s": -3},
        {"to_deg": 1, "when_busy": "maybe"},
        {"to_deg": 1, "to_dge": 2},
        {"to_deg": 1e9},
        {"to_deg": 1, "duration_s": 0},
    ],
)
def test_requests_that_make_no_sense_are_refused_before_they_reach_the_servo(body: dict[str, object]) -> None:
    with pytest.raises(ValidationError):
        MoveRequest.model_validate(body)


@pytest.mark.parametrize("mode", ["brake", "hold", "coast"])
def test_whatever_it_does_at_rest_the_next_move_starts_from_there(mode: str) -> None:
    async def scenario(rig: Rig) -> None:
        await rig.homed()
        for target in (20.0, 21.0, 5.0):
            motion = await rig.go(target)
            assert motion.state == "done"
            assert rig.truth_deg == pytest.approx(target, abs=0.1)
            await asyncio.sleep(3)
            assert rig.truth_deg == pytest.approx(target, abs=0.2)

    on_rig(scenario, direct(rest={"after_move": mode}))
