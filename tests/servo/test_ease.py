"""An eased overload as the service sees it: shown, waited for, held, and gone on from."""

from __future__ import annotations

import asyncio

import pytest

from geartender.servo.motions import Motion
from geartender.servo.requests import MoveRequest
from tests.servo.rig import ANNA, Rig, direct, on_rig

EASING = direct(overload={"action": "ease"})


async def held_up(rig: Rig) -> Motion:
    """Under way, and held up by twice what the teeth bear."""
    await rig.homed()
    motion = await rig.servo.move(ANNA, MoveRequest(to_deg=70))
    await rig.until(lambda: rig.angle > 10)
    rig.sim.command("load 13")
    await rig.until(lambda: rig.servo.snapshot().held_up)
    return motion


def test_a_motion_that_is_held_up_says_so_and_ends_where_it_was_to_go() -> None:
    async def scenario(rig: Rig) -> None:
        motion = await held_up(rig)
        await asyncio.sleep(20.0)
        assert (rig.servo.snapshot().held_up, motion.state, rig.servo.state) == (True, "running", "moving")
        rig.sim.command("load 0")
        await rig.until(lambda: not rig.servo.snapshot().held_up)
        await motion.ended()
        assert motion.state == "done"
        assert motion.end_deg == pytest.approx(70, abs=0.05)

    on_rig(scenario, EASING)


def test_another_move_takes_its_place_while_it_is_held_up() -> None:
    async def scenario(rig: Rig) -> None:
        first = await held_up(rig)
        second = await rig.servo.move(ANNA, MoveRequest(to_deg=5))
        await rig.until(lambda: first.final)
        assert first.state == "replaced"
        rig.sim.command("load 0")
        await second.ended()
        assert (second.state, second.end_deg) == ("done", pytest.approx(5, abs=0.05))

    on_rig(scenario, EASING)


@pytest.mark.parametrize("later", [0.5, 10.0])
def test_an_override_of_nothing_holds_it_where_it_is_and_does_not_let_it_go_on(later: float) -> None:
    async def scenario(rig: Rig) -> None:
        motion = await held_up(rig)
        await asyncio.sleep(later)
        await rig.servo.set_override(ANNA, 0.0)
        rig.sim.command("load 0")
        await asyncio.sleep(3.0)
        assert motion.state == "running"
        assert rig.angle < 20
        await rig.servo.set_override(ANNA, 1.0)
        await motion.ended()
        assert (motion.state, motion.end_deg) == ("done", pytest.approx(70, abs=0.05))

    on_rig(scenario, EASING)


def test_a_stop_while_it_is_held_up_is_a_stop() -> None:
    async def scenario(rig: Rig) -> None:
        motion = await held_up(rig)
        rig.servo.stop(ANNA, 2)
        await motion.ended()
        rig.sim.command("load 0")
        await asyncio.sleep(3.0)
        assert (motion.state, rig.servo.state) == ("stopped", "ready")
        assert rig.angle < 20

    on_rig(scenario, EASING)
