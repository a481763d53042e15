"""Arming, disarming, homing: nothing moves without them, and none of them happens by itself."""

import pytest

from geartender.build import build_document, parse_build
from geartender.errors import Disarmed, Invalid, NotHomed, Offline
from geartender.servo.requests import MoveRequest, TurnRequest
from geartender.world import World
from geartender.world.virtual import run_virtual
from tests.servo.rig import ANNA, Rig, direct, on_rig, vent


def test_it_comes_up_disarmed_and_not_homed_and_says_so() -> None:
    async def scenario(rig: Rig) -> None:
        assert rig.servo.snapshot().state == "offline"
        await rig.connected()
        shown = rig.servo.snapshot()
        assert (shown.state, shown.armed, shown.homed, shown.angle_deg) == ("disarmed", False, False, None)
        assert shown.link.firmware_version is not None
        assert shown.link.round_trip_ms is not None

    on_rig(scenario)


def test_nothing_moves_before_it_is_armed_and_homed() -> None:
    async def scenario(rig: Rig) -> None:
        with pytest.raises(Offline):
            await rig.servo.arm(ANNA)
        await rig.connected()
        for attempt in (
            rig.servo.home(ANNA),
            rig.servo.move(ANNA, MoveRequest(to_deg=1)),
            rig.servo.turn(ANNA, TurnRequest(speed_deg_s=1)),
        ):
            with pytest.raises(Disarmed):
                await attempt
        with pytest.raises(Disarmed):
            rig.servo.jog(ANNA, 1.0)
        await rig.servo.arm(ANNA)
        with pytest.raises(NotHomed):
            await rig.servo.move(ANNA, MoveRequest(to_deg=1))
        with pytest.raises(NotHomed):
            await rig.servo.turn(ANNA, TurnRequest(speed_deg_s=1))
        before = rig.truth_deg
        await rig.until(lambda: rig.world.monotonic() > 5)
        assert abs(rig.truth_deg - before) < 0.2

    on_rig(scenario)


def test_arming_answers_when_the_firmware_has() -> None:
    async def scenario(rig: Rig) -> None:
        await rig.armed()
        assert rig.servo.snapshot().state == "ready"
        assert rig.servo.snapshot().armed
        await rig.servo.arm(ANNA)
        await rig.servo.disarm(ANNA)
        assert rig.servo.snapshot().state == "disarmed"

    on_rig(scenario)


@pytest.mark.parametrize("start_deg", [0.0, 3.0, 22.0, 74.0])
def test_homing_finds_the_same_edge_from_wherever_it_starts(start_deg: float) -> None:
    from geartender.simulator.plant import plant_of

    sheet = direct()
    plant = plant_of(sheet).model_copy(update={"start_deg": start_deg})

    async def scenario(rig: Rig) -> None:
        await rig.homed()
        assert rig.servo.snapshot().homed
        assert abs(rig.angle - rig.truth_deg) < 2 * rig.servo.snapshot().deg_per_count

    on_rig(scenario, sheet, plant)


def test_disarming_takes_drive_away_in_mid_move() -> None:
    async def scenario(rig: Rig) -> None:
        await rig.homed()
        motion = await rig.servo.move(ANNA, MoveRequest(to_deg=60))
        await rig.until(lambda: rig.angle > 10)
        await rig.servo.disarm(ANNA)
        await motion.ended()
        assert motion.state == "stopped"
        assert rig.servo.snapshot().state == "disarmed"

    on_rig(scenario)


def test_a_sheet_that_cannot_move_is_connected_to_but_not_armed() -> None:
    document = build_document(vent())
    del document["limits"]
    sheet = parse_build(document)

    async def main(world: World) -> None:
        from geartender.simulator.device import SimulatedServo
        from tests.servo.rig import running

        rig = Rig(world, SimulatedServo(vent()), sheet)
        async with running(rig.servo):
            await rig.connected()
            assert rig.servo.snapshot().limits is None
            with pytest.raises(Invalid, match="limits"):
                await rig.servo.arm(ANNA)

    run_virtual(main)
