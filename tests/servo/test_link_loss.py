"""Losing the line and getting it back: always disarmed, never shown as live, and by itself."""

import asyncio
from collections.abc import AsyncIterator

import pytest

from geartender.errors import Offline
from geartender.firmware import verbs
from geartender.link.lines import PROTOCOL_VERSION
from geartender.servo.requests import MoveRequest
from geartender.servo.servo import Servo
from geartender.servo.subscription import Message, Subscription
from geartender.simulator.device import SimulatedServo
from geartender.world import World
from geartender.world.virtual import run_virtual
from tests.servo.rig import ANNA, Rig, direct, on_rig, running


def test_cable_out_and_in_is_back_within_two_seconds_disarmed_and_still_homed() -> None:
    async def scenario(rig: Rig) -> None:
        await rig.homed()
        motion = await rig.servo.move(ANNA, MoveRequest(to_deg=70))
        await rig.until(lambda: rig.angle > 20)
        rig.sim.command("unplug 3")
        await motion.ended()
        shown = rig.servo.snapshot()
        assert motion.state == "lost"
        assert (shown.state, shown.angle_deg, shown.armed, shown.age_s) == ("offline", None, False, None)
        assert shown.link.reason is not None
        with pytest.raises(Offline):
            await rig.servo.move(ANNA, MoveRequest(to_deg=10))
        rig.servo.stop(ANNA, 0)
        await rig.until(lambda: not rig.sim.unplugged)
        began = rig.world.monotonic()
        await rig.connected()
        assert rig.world.monotonic() - began < 2.0
        shown = rig.servo.snapshot()
        assert (shown.state, shown.homed, shown.armed) == ("disarmed", True, False)
        assert shown.link.reconnects == 1
        assert abs(rig.angle - rig.truth_deg) < 0.1
        here = rig.truth_deg
        await asyncio.sleep(2)
        assert abs(rig.truth_deg - here) < 0.2
        await rig.servo.arm(ANNA)
        assert (await rig.go(10)).state == "done"

    on_rig(scenario)


def test_the_lever_rests_soon_after_the_cable_is_pulled() -> None:
    async def scenario(rig: Rig) -> None:
        await rig.homed()
        await rig.servo.move(ANNA, MoveRequest(to_deg=70))
        await rig.until(lambda: rig.angle > 20)
        rig.sim.command("unplug 30")
        await asyncio.sleep(0.25 + 20 / 70 + 0.4)
        here = rig.truth_deg
        await asyncio.sleep(1)
        assert abs(rig.truth_deg - here) < 0.1

    on_rig(scenario)


def test_a_long_absence_is_tried_ever_more_rarely() -> None:
    async def scenario(rig: Rig) -> None:
        attempts: list[float] = []
        inner = rig.opener.open

        async def counted(events: object) -> object:
            attempts.append(rig.world.monotonic())
            return await inner(events)  # type: ignore[arg-type]

        rig.opener.open = counted  # type: ignore[method-assign, assignment]
        await rig.connected()
        attempts.clear()
        rig.sim.command("unplug 120")
        await asyncio.sleep(100)
        assert len([at for at in attempts if at < attempts[0] + 10]) > 15
        assert len(attempts) < 60

    on_rig(scenario)


def test_a_restarted_service_finds_the_position_still_known() -> None:
    sheet = direct()

    async def main(world: World) -> None:
        rig = Rig(world, SimulatedServo(sheet, seed=3), sheet)
        async with running(rig.servo):
            await rig.homed()
            await rig.go(33)
        await asyncio.sleep(2)
        again = Servo("vent", sheet, rig.opener, world)
        rig.servo = again
        async with running(again):
            await rig.connected()
            shown = again.snapshot()
            assert (shown.state, shown.homed) == ("disarmed", True)
            assert rig.angle == pytest.approx(33, abs=0.3)
            assert shown.fault is None
            await again.arm(ANNA)
            assert (await rig.go(12)).state == "done"

    run_virtual(main)


def test_a_service_that_ends_in_mid_move_says_stop_before_it_goes() -> None:
    sheet = direct()

    async def main(world: World) -> None:
        rig = Rig(world, SimulatedServo(sheet, seed=3), sheet)
        async with running(rig.servo):
            await rig.homed()
            await rig.servo.move(ANNA, MoveRequest(to_deg=70))
            await rig.until(lambda: rig.angle > 20)
        here = rig.truth_deg
        await asyncio.sleep(0.25 + 20 / 70)
        assert abs(rig.sim.truth().output_deg_s) < 0.5
        assert rig.truth_deg - here < 20 * 20 / (2 * 40) + 20 * 0.15
        again = Servo("vent", sheet, rig.opener, world)
        rig.servo = again
        async with running(again):
            await rig.connected()
            assert (again.snapshot().fault, again.snapshot().homed) == (None, True)

    run_virtual(main)


def test_two_servos_of_one_service_do_not_disturb_each_other() -> None:
    sheet = direct()

    async def main(world: World) -> None:
        one, two = Rig(world, SimulatedServo(sheet, seed=1), sheet), Rig(world, SimulatedServo(sheet, seed=2), sheet)
        async with running(one.servo), running(two.servo):
            await asyncio.gather(one.homed(), two.homed())
            motion = await two.servo.move(ANNA, MoveRequest(to_deg=50))
            one.sim.command("unplug 5")
            await motion.ended()
            assert motion.state == "done"
            assert one.servo.state == "offline"

    run_virtual(main)


def test_firmware_of_another_protocol_is_told_plainly_and_taken_once_it_is_replaced(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    async def scenario(rig: Rig) -> None:
        with monkeypatch.context() as patch:
            patch.setattr(verbs, "PROTOCOL", PROTOCOL_VERSION + 1)
            await rig.until(lambda: rig.servo.snapshot().link.state == "incompatible")
            shown = rig.servo.snapshot()
            assert shown.state == "offline"
            assert "install" in (shown.link.reason or "")
            with pytest.raises(Offline, match="install"):
                await rig.servo.arm(ANNA)
        await rig.connected()

    on_rig(scenario)


def test_firmware_of_another_version_is_told_but_used(monkeypatch: pytest.MonkeyPatch) -> None:
    async def scenario(rig: Rig) -> None:
        monkeypatch.setattr(verbs, "VERSION", "0.0.1")
        listener = rig.servo.subscribe()
        await rig.connected()
        texts = [message["text"] async for message in _until_quiet(listener) if message["type"] == "event"]
        assert any("0.0.1" in text and "install" in text for text in texts)

    on_rig(scenario)


async def _until_quiet(listener: Subscription) -> AsyncIterator[Message]:
    while (message := listener._take()) is not None:
        yield message
