"""One holder at a time; anybody may stop."""

import asyncio
from datetime import UTC, datetime

import pytest

from geartender.errors import Busy, HelmHeld
from geartender.servo.helm import LAPSE_S, PASSING_LAPSE_S, Helm
from geartender.servo.motions import Who
from geartender.servo.requests import MoveRequest
from tests.servo.rig import ANNA, BERT, Rig, on_rig

WALL = datetime(2031, 1, 1, tzinfo=UTC)


def test_the_first_takes_it_and_the_second_is_told_who_has_it() -> None:
    helm = Helm()
    helm.take(ANNA, 0.0, WALL)
    with pytest.raises(HelmHeld, match="Anna"):
        helm.take(BERT, 1.0, WALL)
    with pytest.raises(HelmHeld):
        helm.require(BERT)
    helm.require(ANNA)
    shown = helm.report(ANNA)
    assert shown is not None
    assert (shown.holder, shown.yours) == ("Anna", True)
    other = helm.report(BERT)
    assert other is not None
    assert not other.yours


def test_it_lapses_a_minute_after_the_last_command_but_not_while_something_moves() -> None:
    helm = Helm()
    helm.take(ANNA, 0.0, WALL, asked=True)
    helm.lapse(LAPSE_S - 1, moving=False)
    assert helm.holder == ANNA
    helm.lapse(LAPSE_S + 50, moving=True)
    helm.lapse(LAPSE_S + 60, moving=False)
    assert helm.holder == ANNA
    helm.lapse(2 * LAPSE_S + 51, moving=False)
    assert helm.holder is None


def test_one_that_came_with_a_command_lapses_when_nothing_moves_any_more() -> None:
    helm = Helm()
    helm.take(ANNA, 0.0, WALL)
    helm.lapse(100.0, moving=True)
    helm.lapse(100.0 + PASSING_LAPSE_S / 2, moving=False)
    assert helm.holder == ANNA
    helm.lapse(101.0 + PASSING_LAPSE_S, moving=False)
    assert helm.holder is None
    helm.take(ANNA, 200.0, WALL)
    helm.take(ANNA, 200.0, WALL, asked=True)
    helm.take(ANNA, 201.0, WALL)
    helm.lapse(210.0, moving=False)
    assert helm.holder == ANNA, "a command does not make less of what was asked for"


def test_only_the_holder_gives_it_back() -> None:
    helm = Helm()
    helm.take(ANNA, 0.0, WALL)
    helm.give(BERT)
    assert helm.holder == ANNA
    helm.give(ANNA)
    assert helm.report(ANNA) is None


def test_whoever_moves_holds_the_helm_and_the_other_can_only_stop() -> None:
    async def scenario(rig: Rig) -> None:
        await rig.homed()
        motion = await rig.servo.move(ANNA, MoveRequest(to_deg=60))
        for attempt in (rig.servo.move(BERT, MoveRequest(to_deg=10)), rig.servo.home(BERT), rig.servo.arm(BERT)):
            with pytest.raises(HelmHeld):
                await attempt
        with pytest.raises(HelmHeld):
            rig.servo.jog(BERT, 1.0)
        rig.servo.stop(BERT, 2)
        await motion.ended()
        assert motion.state == "stopped"

    on_rig(scenario)


def test_taking_it_by_force_stops_what_moves_first() -> None:
    async def scenario(rig: Rig) -> None:
        await rig.homed()
        motion = await rig.servo.move(ANNA, MoveRequest(to_deg=60))
        await rig.until(lambda: rig.angle > 10)
        with pytest.raises(HelmHeld):
            rig.servo.take_helm(BERT, force=False)
        rig.servo.take_helm(BERT, force=True)
        await motion.ended()
        assert motion.state == "stopped"
        shown = rig.servo.snapshot(BERT)
        assert shown.helm is not None
        assert (shown.helm.holder, shown.helm.yours) == ("Bert", True)
        assert (await rig.servo.move(BERT, MoveRequest(to_deg=5))).who == BERT

    on_rig(scenario)


def test_asked_for_it_is_free_again_after_a_quiet_minute() -> None:
    async def scenario(rig: Rig) -> None:
        await rig.homed()
        rig.servo.take_helm(ANNA, force=False)
        await asyncio.sleep(LAPSE_S / 2)
        with pytest.raises(HelmHeld):
            await rig.servo.move(BERT, MoveRequest(to_deg=5))
        await asyncio.sleep(LAPSE_S / 2 + 1)
        assert rig.servo.snapshot().helm is None
        await rig.servo.move(BERT, MoveRequest(to_deg=5))

    on_rig(scenario)


def of_key(program: str, key: str = "c-1") -> Who:
    return Who(f"{key}/{program}", "shed script", credential=key)


def test_two_programs_of_one_key_drive_together_and_another_key_does_not() -> None:
    async def scenario(rig: Rig) -> None:
        await rig.connected()
        await rig.servo.arm(of_key("curl"))
        motion = await rig.servo.home(of_key("geartender"))
        shown = rig.servo.snapshot(of_key("curl")).helm
        assert shown is not None
        assert shown.yours
        with pytest.raises(HelmHeld, match="shed script"):
            await rig.servo.move(of_key("curl", "c-2"), MoveRequest(to_deg=10))
        with pytest.raises(HelmHeld):
            await rig.servo.arm(ANNA)
        await motion.ended()
        moved = await rig.servo.move(of_key("curl"), MoveRequest(to_deg=20))
        await moved.ended()
        rig.servo.give_helm(of_key("another"))
        assert rig.servo.snapshot().helm is None

    on_rig(scenario)


def test_of_two_tabs_of_one_phone_only_the_one_that_jogs_ends_its_jog() -> None:
    async def scenario(rig: Rig) -> None:
        await rig.homed()
        await asyncio.sleep(PASSING_LAPSE_S + 0.1)
        rig.servo.jog(of_key("tab 1"), 5.0)
        with pytest.raises(Busy):
            rig.servo.jog(of_key("tab 2"), -5.0)
        await asyncio.sleep(0.1)
        rig.servo.end_jog(of_key("tab 2"))
        assert rig.servo.state == "jogging"
        with pytest.raises(Busy):
            rig.servo.jog(of_key("tab 2"), -5.0)
        rig.servo.end_jog(of_key("tab 1"))
        await rig.until(lambda: rig.servo.state == "ready")

    on_rig(scenario)
