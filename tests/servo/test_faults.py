"""Why it stopped by itself, told in plain words, and how it comes back."""

import asyncio

import pytest

from geartender.errors import Faulted
from geartender.servo.faults import ALL_CAUSES, Evidence, explain
from geartender.servo.requests import MoveRequest
from geartender.simulator.plant import plant_of
from tests.servo.rig import ANNA, Rig, direct, on_rig


def test_a_jam_at_full_speed_is_told_and_reset_arm_and_home_bring_it_back() -> None:
    async def scenario(rig: Rig) -> None:
        await rig.homed()
        motion = await rig.servo.move(ANNA, MoveRequest(to_deg=70))
        await rig.until(lambda: rig.angle > 30)
        began = rig.world.monotonic()
        rig.sim.command("jam")
        await motion.ended()
        assert rig.world.monotonic() - began < 0.12 + 0.15
        shown = rig.servo.snapshot()
        assert (motion.state, shown.state, shown.armed) == ("faulted", "faulted", False)
        assert shown.fault is not None
        assert shown.fault.cause in ("overload", "stalled")
        assert shown.fault.peak_torque_nm is not None
        assert shown.fault.peak_torque_nm > 0.5
        assert motion.reason == shown.fault.text
        assert "N·m" in shown.fault.text
        assert shown.fault.angle_deg == pytest.approx(30, abs=3)
        assert len(rig.servo.fault_trace()) > 100
        rig.sim.command("free")
        here = rig.truth_deg
        with pytest.raises(Faulted):
            await rig.servo.arm(ANNA)
        await rig.servo.reset(ANNA)
        assert rig.servo.snapshot().state == "disarmed"
        await rig.servo.arm(ANNA)
        await asyncio.sleep(1)
        assert abs(rig.truth_deg - here) < 2.5
        home = await rig.servo.home(ANNA)
        await home.ended()
        assert (await rig.go(20)).state == "done"

    on_rig(scenario)


def test_a_reset_of_the_controller_is_a_fault_and_the_position_is_lost() -> None:
    async def scenario(rig: Rig) -> None:
        await rig.homed()
        motion = await rig.servo.move(ANNA, MoveRequest(to_deg=70))
        await rig.until(lambda: rig.angle > 20)
        rig.sim.command("reset")
        await motion.ended()
        assert motion.state == "lost"
        await rig.until(lambda: rig.servo.state == "faulted", 2.0)
        shown = rig.servo.snapshot()
        assert shown.fault is not None
        assert (shown.fault.cause, shown.homed, shown.armed, shown.angle_deg) == (
            "controller-reset",
            False,
            False,
            None,
        )
        with pytest.raises(Faulted):
            await rig.servo.arm(ANNA)
        await rig.connected()
        await rig.servo.reset(ANNA)
        await rig.homed()

    on_rig(scenario)


def test_a_missing_mark_is_told_after_the_travel_and_a_bit() -> None:
    sheet = direct()
    plant = plant_of(sheet)
    plant = plant.model_copy(update={"home": plant.home.model_copy(update={"width_deg": 0.0}), "start_deg": 40.0})

    async def scenario(rig: Rig) -> None:
        await rig.armed()
        motion = await rig.servo.home(ANNA)
        await motion.ended()
        fault = rig.servo.snapshot().fault
        assert motion.state == "faulted"
        assert fault is not None
        assert fault.cause == "home-not-found"
        assert not rig.servo.snapshot().homed

    on_rig(scenario, sheet, plant)


def test_a_low_supply_ramps_down_and_is_told_with_its_voltage() -> None:
    async def scenario(rig: Rig) -> None:
        await rig.homed()
        motion = await rig.servo.move(ANNA, MoveRequest(to_deg=70, speed_deg_s=5))
        await rig.until(lambda: rig.angle > 10)
        rig.sim.command("supply 8")
        await motion.ended()
        fault = rig.servo.snapshot().fault
        assert motion.state == "faulted"
        assert fault is not None
        assert fault.cause == "supply-low"
        assert " V" in fault.text
        await rig.until(lambda: not rig.servo.snapshot().armed, 3)

    on_rig(scenario)


def test_a_fault_survives_a_restart_of_the_service() -> None:
    async def scenario(rig: Rig) -> None:
        await rig.homed()
        await rig.servo.move(ANNA, MoveRequest(to_deg=70))
        await rig.until(lambda: rig.angle > 30)
        rig.sim.command("jam")
        await rig.until(lambda: rig.servo.state == "faulted")
        rig.servo._drive.link.on_lost("restart")
        await rig.until(lambda: rig.servo.state == "offline")
        await rig.until(lambda: rig.servo.state == "faulted")
        assert rig.servo.snapshot().fault is not None

    on_rig(scenario)


@pytest.mark.parametrize("cause", ALL_CAUSES)
def test_every_cause_has_its_words_and_an_advice(cause: str) -> None:
    seen = Evidence(33.3, 7.25, 6.5, 120, 8.1, 12.0, 112, 4.5, (0.0, 75.0))
    unseen = Evidence(None, None, 6.5, 120, None, 12.0, None, 4.5, None)
    words = explain(cause, seen)
    assert len(words.text) > 40
    assert len(words.advice) > 40
    for text in (words.text, explain(cause, unseen).text):
        assert "{" not in text
        assert "None" not in text
        assert not any(word in text.lower() for word in ("safe", "emergency", "protective"))


def test_an_unknown_cause_is_told_as_it_is() -> None:
    assert "gremlins" in explain("gremlins", Evidence(None, None, 1, 1, None, 1, None, 1, None)).text
