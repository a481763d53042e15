"""Rotating at a held speed, and moving only while held."""

import asyncio

import pytest

from geartender.build import BuildSheet
from geartender.errors import Busy, OutsideTravel, OverLimit, Refused
from geartender.servo.requests import MoveRequest, TurnRequest
from tests.servo.rig import ANNA, BERT, Rig, direct, on_rig


def endless() -> BuildSheet:
    from geartender.build import build_document, parse_build

    document = build_document(direct())
    document["travel"] = {"endless": True}
    document["load"] = {"inertia_kg_m2": 0.02, "friction_nm": 0.2}
    return parse_build(document)


async def hold(rig: Rig, speed: float, seconds: float) -> None:
    """Keep a jog held as a page does, ten times a second."""
    end = rig.world.monotonic() + seconds
    while rig.world.monotonic() < end:
        rig.servo.jog(ANNA, speed)
        await asyncio.sleep(0.1)


def test_a_timed_turn_turns_and_comes_to_rest() -> None:
    async def scenario(rig: Rig) -> None:
        await rig.homed()
        start = rig.angle
        motion = await rig.servo.turn(ANNA, TurnRequest(speed_deg_s=10, for_s=3))
        await asyncio.sleep(1.5)
        assert rig.servo.state == "turning"
        assert rig.servo.snapshot().speed_deg_s == pytest.approx(10, abs=1.0)
        await motion.ended()
        assert motion.state == "done"
        assert rig.angle - start == pytest.approx(30, abs=1.5)
        assert motion.actual_s == pytest.approx(motion.planned_s, abs=0.3)

    on_rig(scenario)


def test_a_turn_goes_on_until_it_is_stopped_and_takes_the_override() -> None:
    async def scenario(rig: Rig) -> None:
        await rig.armed()
        motion = await rig.servo.turn(ANNA, TurnRequest(speed_deg_s=-12))
        await asyncio.sleep(9)
        assert motion.state == "running"
        await rig.servo.set_override(ANNA, 0.5)
        await asyncio.sleep(1.5)
        assert rig.servo.snapshot().speed_deg_s == pytest.approx(-6, abs=0.8)
        rig.servo.stop(ANNA, 2)
        await motion.ended()
        assert motion.state == "stopped"

    on_rig(scenario, endless())


@pytest.mark.parametrize("speed", [20.0, -20.0])
def test_a_turn_at_the_limit_takes_the_highest_override(speed: float) -> None:
    async def scenario(rig: Rig) -> None:
        await rig.armed()
        await rig.servo.set_override(ANNA, 1.5)
        motion = await rig.servo.turn(ANNA, TurnRequest(speed_deg_s=speed))
        await asyncio.sleep(2)
        assert rig.servo.snapshot().speed_deg_s == pytest.approx(speed * 1.5, abs=1.5)
        rig.servo.stop(ANNA, 2)
        await motion.ended()

    on_rig(scenario, endless())


@pytest.mark.parametrize("held_from_the_start", [True, False])
def test_an_override_of_zero_holds_a_turn_and_its_time(held_from_the_start: bool) -> None:
    async def scenario(rig: Rig) -> None:
        await rig.homed()
        start = rig.angle
        if held_from_the_start:
            await rig.servo.set_override(ANNA, 0.0)
        motion = await rig.servo.turn(ANNA, TurnRequest(speed_deg_s=10, for_s=3))
        await asyncio.sleep(1.0)
        await rig.servo.set_override(ANNA, 0.0)
        await asyncio.sleep(4.0)
        assert (motion.state, rig.servo.state) == ("running", "turning")
        assert abs(rig.servo.snapshot().speed_deg_s or 0) < 0.5
        await rig.servo.set_override(ANNA, 1.0)
        await motion.ended()
        assert motion.state == "done"
        assert rig.angle - start == pytest.approx(30, abs=3.5)

    on_rig(scenario)


def test_a_move_takes_the_place_of_a_turn_that_an_override_of_zero_holds() -> None:
    async def scenario(rig: Rig) -> None:
        await rig.homed()
        turn = await rig.servo.turn(ANNA, TurnRequest(speed_deg_s=10))
        await rig.servo.set_override(ANNA, 0.0)
        await asyncio.sleep(1.0)
        move = await rig.servo.move(ANNA, MoveRequest(to_deg=20))
        assert turn.state == "replaced"
        await rig.servo.set_override(ANNA, 1.0)
        await move.ended()
        assert move.state == "done"

    on_rig(scenario)


def test_a_move_that_never_begins_is_not_left_open() -> None:
    async def scenario(rig: Rig) -> None:
        await rig.homed()
        await rig.servo.turn(ANNA, TurnRequest(speed_deg_s=10))
        await asyncio.sleep(0.5)
        attempt = asyncio.create_task(rig.servo.move(ANNA, MoveRequest(to_deg=70)))
        await asyncio.sleep(0.02)
        rig.servo.stop(ANNA, 1)
        with pytest.raises(Refused):
            await attempt
        assert all(motion.final for motion in rig.servo.motions())

    on_rig(scenario)


def test_whole_turns_end_where_they_should() -> None:
    async def scenario(rig: Rig) -> None:
        await rig.homed()
        start = rig.angle
        motion = await rig.servo.turn(ANNA, TurnRequest(speed_deg_s=20, turns=1.5))
        assert rig.servo.state in ("ready", "turning")
        await motion.ended()
        assert motion.state == "done"
        assert rig.angle - start == pytest.approx(540, abs=0.1)

    on_rig(scenario, endless())


@pytest.mark.parametrize("speed", [20.0, 7.0, -20.0])
def test_a_turn_stops_inside_the_travel_by_itself(speed: float) -> None:
    async def scenario(rig: Rig) -> None:
        await rig.homed()
        await rig.go(35)
        motion = await rig.servo.turn(ANNA, TurnRequest(speed_deg_s=speed))
        lowest, highest = 99.0, -99.0
        while not motion.final:
            await asyncio.sleep(0.01)
            lowest, highest = min(lowest, rig.angle), max(highest, rig.angle)
        assert motion.state == "done"
        assert "travel" in (motion.reason or "")
        assert lowest >= -0.06
        assert highest <= 75.06
        assert abs(rig.angle - (75 if speed > 0 else 0)) < 2.0
        await rig.go(75 if speed > 0 else 0)
        with pytest.raises(OutsideTravel):
            await rig.servo.turn(ANNA, TurnRequest(speed_deg_s=speed))

    on_rig(scenario)


def test_a_jog_moves_only_while_it_is_held() -> None:
    async def scenario(rig: Rig) -> None:
        await rig.homed()
        await hold(rig, 10.0, 1.5)
        motion = rig.servo.motions()[0]
        assert (motion.kind, motion.state, rig.servo.state) == ("jog", "running", "jogging")
        rig.servo.jog(ANNA, 0.0)
        await motion.ended()
        assert motion.state == "done"
        here = rig.angle
        await asyncio.sleep(1)
        assert abs(rig.angle - here) < 0.3

    on_rig(scenario)


def test_a_jog_that_is_no_longer_repeated_stops_by_itself() -> None:
    async def scenario(rig: Rig) -> None:
        await rig.homed()
        await hold(rig, 10.0, 1.0)
        motion = rig.servo.motions()[0]
        began = rig.world.monotonic()
        await motion.ended()
        assert rig.world.monotonic() - began < 0.3 + 10 / 40 + 0.4

    on_rig(scenario)


def test_a_jog_stops_at_the_end_of_the_travel_and_only_comes_back() -> None:
    async def scenario(rig: Rig) -> None:
        await rig.homed()
        await rig.go(60)
        highest, refused = 0.0, 0
        for _ in range(40):
            try:
                rig.servo.jog(ANNA, 20.0)
            except (OutsideTravel, Busy):
                refused += 1
            for _ in range(10):
                await asyncio.sleep(0.01)
                highest = max(highest, rig.angle)
        assert 74.0 < highest <= 75.06
        assert refused > 15
        await asyncio.sleep(1.0)
        await hold(rig, -5.0, 1.0)
        assert rig.angle < 74

    on_rig(scenario)


def test_a_jog_may_turn_round_and_change_its_speed() -> None:
    async def scenario(rig: Rig) -> None:
        await rig.homed()
        await rig.go(40)
        await hold(rig, 10.0, 0.8)
        await hold(rig, -10.0, 1.5)
        assert rig.servo.snapshot().speed_deg_s == pytest.approx(-10, abs=1.5)
        assert len([one for one in rig.servo.motions() if one.kind == "jog"]) == 1

    on_rig(scenario)


def test_only_the_one_who_holds_it_keeps_or_ends_a_jog() -> None:
    async def scenario(rig: Rig) -> None:
        await rig.homed()
        await hold(rig, 5.0, 0.5)
        rig.servo.end_jog(BERT)
        await asyncio.sleep(0.05)
        assert rig.servo.motions()[0].state == "running"
        rig.servo.end_jog(ANNA)
        await rig.servo.motions()[0].ended()

    on_rig(scenario)


def test_before_homing_a_jog_goes_no_quicker_than_homing() -> None:
    async def scenario(rig: Rig) -> None:
        await rig.armed()
        await hold(rig, 20.0, 1.5)
        assert rig.servo.snapshot().speed_deg_s == pytest.approx(9, abs=1.0)

    on_rig(scenario)


def test_too_fast_is_refused() -> None:
    async def scenario(rig: Rig) -> None:
        await rig.homed()
        with pytest.raises(OverLimit):
            rig.servo.jog(ANNA, -21.0)
        with pytest.raises(OverLimit):
            await rig.servo.turn(ANNA, TurnRequest(speed_deg_s=21))

    on_rig(scenario)


def test_a_move_during_a_jog_waits_until_it_rests_and_then_goes() -> None:
    async def scenario(rig: Rig) -> None:
        await rig.homed()
        await hold(rig, 10.0, 1.0)
        jog = rig.servo.motions()[0]
        motion = await rig.servo.move(ANNA, MoveRequest(to_deg=5))
        assert jog.final
        await motion.ended()
        assert motion.end_deg == pytest.approx(5, abs=0.05)
        await rig.servo.turn(ANNA, TurnRequest(speed_deg_s=5))
        with pytest.raises(Busy):
            rig.servo.jog(ANNA, 5.0)
        await asyncio.sleep(0.5)
        motion = await rig.go(20)
        assert motion.state == "done"

    on_rig(scenario)
