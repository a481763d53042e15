"""The three stops, the override, and what they leave behind."""

import asyncio

import pytest

from geartender.errors import Busy, HelmHeld, Invalid
from geartender.servo.requests import MoveRequest
from tests.servo.rig import ANNA, BERT, Rig, on_rig


@pytest.mark.parametrize(
    ("category", "state", "within"), [(0, "disarmed", 0.5), (1, "disarmed", 1.2), (2, "ready", 1.2)]
)
def test_a_stop_in_mid_move(category: int, state: str, within: float) -> None:
    async def scenario(rig: Rig) -> None:
        await rig.homed()
        motion = await rig.servo.move(ANNA, MoveRequest(to_deg=70))
        await rig.until(lambda: rig.angle > 30)
        began = rig.world.monotonic()
        rig.servo.stop(BERT, category)
        await rig.servo.stopped()
        assert rig.world.monotonic() - began < 0.1
        await motion.ended()
        assert motion.state == "stopped"
        await rig.until(lambda: rig.servo.state == state, within)
        assert rig.truth_deg < 60
        await asyncio.sleep(1.5)  # without drive it runs out by itself
        here = rig.truth_deg
        await asyncio.sleep(2)
        assert abs(rig.truth_deg - here) < 0.3

    on_rig(scenario)


def test_a_stop_reaches_the_port_before_it_returns() -> None:
    async def scenario(rig: Rig) -> None:
        await rig.homed()
        await rig.servo.move(ANNA, MoveRequest(to_deg=70))
        await asyncio.sleep(0.5)
        before = len(rig.sim._received)
        rig.servo.stop(ANNA, 0)
        assert b"stop 0 " in bytes(rig.sim._received)[before:]

    on_rig(scenario)


def test_there_is_no_fourth_stop() -> None:
    async def scenario(rig: Rig) -> None:
        with pytest.raises(Invalid):
            rig.servo.stop(ANNA, 3)
        rig.servo.stop(ANNA, 1)

    on_rig(scenario)


def test_a_move_that_a_stop_meets_on_its_way_does_not_start() -> None:
    async def scenario(rig: Rig) -> None:
        await rig.homed()
        task = asyncio.create_task(rig.servo.move(ANNA, MoveRequest(to_deg=70)))
        await asyncio.sleep(0)
        rig.servo.stop(ANNA, 2)
        with pytest.raises(Busy, match="stop came first"):
            await task
        await asyncio.sleep(1)
        assert abs(rig.angle) < 0.2
        assert rig.servo.snapshot().motion is None

    on_rig(scenario)


def test_the_override_slows_down_holds_and_goes_on() -> None:
    async def scenario(rig: Rig) -> None:
        await rig.homed()
        motion = await rig.servo.move(ANNA, MoveRequest(to_deg=70))
        await rig.until(lambda: rig.angle > 10)
        await rig.servo.set_override(ANNA, 0.25)
        await asyncio.sleep(1.0)
        assert rig.servo.snapshot().speed_deg_s == pytest.approx(5.0, abs=0.8)
        await rig.servo.set_override(ANNA, 0.0)
        await asyncio.sleep(2.0)
        held = rig.angle
        assert (motion.state, rig.servo.snapshot().state) == ("running", "moving")
        await asyncio.sleep(3.0)
        assert rig.angle == pytest.approx(held, abs=0.2)
        await rig.servo.set_override(ANNA, 1.0)
        await motion.ended()
        assert motion.state == "done"
        assert motion.end_deg == pytest.approx(70, abs=0.05)

    on_rig(scenario)


def test_an_override_above_one_is_quicker_within_what_the_motor_can() -> None:
    async def scenario(rig: Rig) -> None:
        await rig.homed()
        plain = await rig.go(60)
        await rig.servo.set_override(ANNA, 1.5)
        quick = await rig.go(0)
        assert plain.actual_s is not None
        assert quick.actual_s is not None
        assert quick.actual_s < plain.actual_s * 0.85
        assert max(abs(row.speed_deg_s) for row in quick.trace_rows()) < 0.9 * 35.7 + 1.5

    on_rig(scenario)


@pytest.mark.parametrize("speed", [-0.1, 1.51, float("nan")])
def test_an_override_out_of_range_is_refused(speed: float) -> None:
    async def scenario(rig: Rig) -> None:
        with pytest.raises(Invalid):
            await rig.servo.set_override(ANNA, speed)

    on_rig(scenario)


def test_a_stop_ends_a_motion_that_the_override_holds() -> None:
    async def scenario(rig: Rig) -> None:
        await rig.homed()
        await rig.servo.set_override(ANNA, 0.0)
        motion = await rig.servo.move(ANNA, MoveRequest(to_deg=70))
        await asyncio.sleep(1)
        assert (motion.state, rig.servo.state) == ("running", "moving")
        with pytest.raises(HelmHeld):
            await rig.servo.set_override(BERT, 1.0)
        rig.servo.stop(BERT, 2)
        assert motion.state == "stopped"
        await rig.servo.set_override(ANNA, 1.0)
        await asyncio.sleep(1)
        assert abs(rig.angle) < 0.2

    on_rig(scenario)
