"""No count is lost, ever: thousands of moves in a row, against the mechanics."""

import random

import pytest

from geartender.simulator.board import CPythonBoard
from tests.firmware.kit import Bench, rigid


@pytest.mark.slow
@pytest.mark.timeout(600)
def test_five_thousand_moves_in_a_row_lose_no_count():
    bench = Bench(rigid()).ready()
    dice = random.Random(5_000)
    here = 35.0
    for motion in range(2, 5_002):
        step = dice.uniform(0.1, 4.0)  # at least three counts, so that there is something to do
        here += step if here < 5.0 or (here < 70.0 and dice.random() < 0.5) else -step
        assert bench.move(motion, here)["how"] == "done", motion
    bench.run(0.2)
    board = bench.sim._board
    assert isinstance(board, CPythonBoard)
    assert board.core.total == bench.sim.truth().motor_counts
    assert abs(bench.off_counts) <= 1.0
    bench.heard.clear()
    bench.move(5_002, 0.2)
    assert bench.home(5_003)["how"] == "done"
    bench.run(0.2)
    assert abs(bench.off_counts) <= 1.0
