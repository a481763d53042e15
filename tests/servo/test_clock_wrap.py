"""The firmware's clock starts anew every 18 minutes; nobody must notice, whatever is under way just then."""

import asyncio

import pytest

from geartender.firmware import tick
from geartender.link.lines import CLOCK_SPAN
from geartender.servo.requests import MoveRequest, TurnRequest
from geartender.simulator.board import CPythonBoard
from tests.servo.rig import ANNA, Rig, on_rig


@pytest.mark.parametrize("before_s", [0.05, 2.5, 7.5])
def test_homing_moves_and_turns_across_the_wrap(before_s: float) -> None:
    async def scenario(rig: Rig) -> None:
        board = rig.sim._board
        assert isinstance(board, CPythonBoard)
        board.core.state[tick.NOW] = CLOCK_SPAN - 2000 * round(before_s / 0.002)
        await rig.homed()
        assert (await rig.go(30)).state == "done"
        first = await rig.servo.move(ANNA, MoveRequest(to_deg=60))
        await rig.until(lambda: rig.angle > 35)
        second = await rig.servo.move(ANNA, MoveRequest(to_deg=20))
        await second.ended()
        assert (first.state, second.state) == ("replaced", "done")
        turn = await rig.servo.turn(ANNA, TurnRequest(speed_deg_s=10, for_s=1))
        await turn.ended()
        assert turn.state == "done"
        await asyncio.sleep(0.2)
        assert rig.servo.snapshot().link.reconnects == 0
        assert rig.world.monotonic() > before_s + 0.5

    on_rig(scenario)
