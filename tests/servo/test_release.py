"""The port is let go for another program, only while disarmed, and taken again when that is done."""

import asyncio

import pytest

from geartender.errors import Busy, HelmHeld
from geartender.link.session import RELEASED_MAX_S
from tests.servo.rig import ANNA, BERT, Rig, on_rig


def test_the_port_is_free_for_another_until_it_is_wanted_back() -> None:
    async def scenario(rig: Rig) -> None:
        await rig.connected()
        rig.servo.release_port(ANNA)
        await rig.until(lambda: rig.servo.state == "offline")
        assert rig.servo.snapshot().link.reason == "another program was let have the port"
        other = await rig.opener.open(rig.servo._drive.link)
        await asyncio.sleep(60)
        assert rig.servo.state == "offline"
        other.close()
        rig.servo.reconnect(ANNA)
        await rig.connected()

    on_rig(scenario)


def test_it_is_kept_while_the_servo_is_armed_or_somebody_else_has_the_helm() -> None:
    async def scenario(rig: Rig) -> None:
        await rig.armed()
        with pytest.raises(Busy):
            rig.servo.release_port(ANNA)
        await rig.servo.disarm(ANNA)
        with pytest.raises(HelmHeld):
            rig.servo.release_port(BERT)
        assert rig.servo.state == "disarmed"

    on_rig(scenario)


def test_a_port_that_nobody_gives_back_is_taken_again_after_a_while() -> None:
    async def scenario(rig: Rig) -> None:
        await rig.connected()
        rig.servo.release_port(ANNA)
        await asyncio.sleep(RELEASED_MAX_S - 5)
        assert rig.servo.state == "offline"
        await rig.until(lambda: rig.servo.snapshot().link.state == "connected", 10)

    on_rig(scenario)


def test_to_want_back_what_was_not_let_go_does_nothing() -> None:
    async def scenario(rig: Rig) -> None:
        await rig.connected()
        rig.servo.reconnect(ANNA)
        await asyncio.sleep(2)
        assert rig.servo.snapshot().link.reconnects == 0

    on_rig(scenario)
