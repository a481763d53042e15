"""Who leads, as the service sees it: the pulse only where somebody says so, and this service again with its next command."""

import asyncio
from typing import Any

import pytest

from geartender.errors import Busy, Disarmed, HelmHeld, Invalid, NotHomed
from geartender.servo.requests import MoveRequest, TurnRequest
from tests.servo.rig import ANNA, BERT, Rig, direct, on_rig

PULSED = direct(pulse={"enabled": True})


async def led(rig: Rig, us: float = 1400) -> None:
    """Homed, the pulse leading, and at rest where it says."""
    await rig.homed()
    rig.sim.command(f"pulse {us:g}")
    await rig.servo.give_lead(ANNA)
    await rig.until(lambda: rig.servo.state == "moving")
    await rig.until(lambda: rig.servo.state == "ready")


def test_the_pulse_leads_once_somebody_hands_it_the_lead() -> None:
    async def scenario(rig: Rig) -> None:
        await led(rig)
        shown = rig.servo.snapshot()
        assert (shown.source, shown.pulse_us, shown.motion, shown.target_deg) == ("pulse", 1400, None, None)
        assert rig.angle == pytest.approx(30, abs=0.1)

    on_rig(scenario, PULSED)


def test_a_pulse_that_only_comes_in_is_shown_and_moves_nothing() -> None:
    async def scenario(rig: Rig) -> None:
        await rig.homed()
        before = rig.angle
        rig.sim.command("pulse 1400")
        await rig.until(lambda: rig.servo.snapshot().pulse_us == 1400)
        await asyncio.sleep(5)
        assert rig.angle == pytest.approx(before, abs=0.1)
        assert rig.servo.snapshot().source == "host"

    on_rig(scenario, PULSED)


@pytest.mark.parametrize("command", ["move", "turn", "home", "take_lead", "arm"])
def test_any_command_takes_the_lead_and_goes_on_from_rest(command: str) -> None:
    async def scenario(rig: Rig) -> None:
        await led(rig)
        rig.sim.command("pulse 2000")
        await rig.until(lambda: rig.servo.state == "moving")
        motion: Any = None
        if command == "move":
            motion = await rig.servo.move(ANNA, MoveRequest(to_deg=12))
        elif command == "turn":
            motion = await rig.servo.turn(ANNA, TurnRequest(speed_deg_s=-5, for_s=1.0))
        elif command == "home":
            motion = await rig.servo.home(ANNA)
        else:
            await getattr(rig.servo, command)(ANNA)
        assert rig.servo.snapshot().source == "host"
        if motion is not None:
            await motion.ended()
            assert motion.state == "done"
        await rig.until(lambda: rig.servo.state == "ready")
        at = rig.angle
        await asyncio.sleep(2)
        assert rig.angle == pytest.approx(at, abs=0.1)

    on_rig(scenario, PULSED)


def test_holding_a_jog_takes_the_lead_and_runs_once_it_rests() -> None:
    async def scenario(rig: Rig) -> None:
        await led(rig)
        rig.sim.command("pulse 2000")
        await rig.until(lambda: rig.servo.state == "moving")
        with pytest.raises(Busy, match="The pulse led"):
            rig.servo.jog(ANNA, -4.0)
        for _ in range(30):
            await asyncio.sleep(0.1)
            if rig.servo.state == "jogging":
                break
            try:
                rig.servo.jog(ANNA, -4.0)
            except Busy:
                continue
        assert rig.servo.state == "jogging"
        rig.servo.end_jog(ANNA)

    on_rig(scenario, PULSED)


def test_a_stop_ends_the_lead_and_arming_does_not_bring_it_back() -> None:
    async def scenario(rig: Rig) -> None:
        await led(rig)
        rig.sim.command("pulse 2000")
        await rig.until(lambda: rig.servo.state == "moving")
        rig.servo.stop(ANNA, 1)
        await rig.until(lambda: rig.servo.state == "disarmed")
        await rig.servo.arm(ANNA)
        at = rig.angle
        await asyncio.sleep(2)
        assert rig.servo.snapshot().source == "host"
        assert rig.angle == pytest.approx(at, abs=0.2)

    on_rig(scenario, PULSED)


def test_handing_over_has_its_conditions() -> None:
    async def scenario(rig: Rig) -> None:
        await rig.connected()
        with pytest.raises(NotHomed):
            await rig.servo.give_lead(ANNA)
        await rig.homed()
        with pytest.raises(HelmHeld):
            await rig.servo.give_lead(BERT)
        motion = await rig.servo.move(ANNA, MoveRequest(to_deg=60))
        with pytest.raises(Busy):
            await rig.servo.give_lead(ANNA)
        await motion.ended()
        await rig.servo.give_lead(ANNA)
        assert rig.servo.snapshot().source == "pulse"
        await rig.servo.give_lead(ANNA)

    on_rig(scenario, PULSED)


def test_a_sheet_without_a_pulse_says_so() -> None:
    async def scenario(rig: Rig) -> None:
        await rig.homed()
        with pytest.raises(Invalid, match="no pulse input"):
            await rig.servo.give_lead(ANNA)

    on_rig(scenario)


def test_a_board_that_starts_with_no_host_is_led_by_the_pulse_and_a_service_that_comes_later_leaves_it_so() -> None:
    sheet = direct(pulse={"may_home": True})

    async def scenario(rig: Rig) -> None:
        await rig.connected()
        rig.sim.command("unplug 8")
        rig.sim.command("reset")
        rig.sim.command("pulse 1600")
        await rig.until(lambda: rig.servo.state == "offline")
        await rig.until(lambda: rig.servo.snapshot().link.state == "connected", 20)
        shown = rig.servo.snapshot()
        assert (shown.source, shown.armed, shown.fault) == ("pulse", True, None)
        await rig.until(lambda: rig.servo.state == "ready" and abs(rig.angle - 45) < 0.1, 30)
        assert rig.servo.snapshot().source == "pulse"
        with pytest.raises(Busy):
            rig.servo.replace_build(direct())
        await rig.servo.move(ANNA, MoveRequest(to_deg=10))
        assert rig.servo.snapshot().source == "host"

    on_rig(scenario, sheet)


def test_while_it_waits_for_pulses_it_is_disarmed_and_commands_ask_to_arm() -> None:
    async def scenario(rig: Rig) -> None:
        await led(rig)
        rig.sim.command("pulse off")
        await rig.until(lambda: rig.servo.state == "disarmed")
        assert rig.servo.snapshot().source == "pulse"
        with pytest.raises(Disarmed):
            await rig.servo.move(ANNA, MoveRequest(to_deg=10))
        await rig.servo.arm(ANNA)
        assert rig.servo.snapshot().source == "host"
        assert (await rig.go(10)).state == "done"

    on_rig(scenario, PULSED)
