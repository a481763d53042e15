"""A small part of tests/benchmarks/turning.py: an endless output, over the wraps of time and count."""

import numpy as np
import pytest

from geartender.firmware import tick
from tests.benchmarks import turning
from tests.benchmarks.tick import day
from tests.firmware.kit import Bench, rigid, sheet_with


def test_turns_over_the_wraps_drift_by_nothing(monkeypatch):
    monkeypatch.setattr(turning, "BEFORE_WRAP_US", 6_000_000)
    found = turning.turned(60)
    assert (found["fault"], found["drift"], found["audit"]) == ("none", 0, 0)
    assert found["marks"] >= 60
    assert found["ticks"] * tick.TICK_US > 5_000_000 // 2


@pytest.mark.slow
def test_the_compiled_tick_does_the_same_to_the_last_bit(monkeypatch):
    pytest.importorskip("numba")
    from tests.firmware.compiled import compiled

    swift, plain, seen = compiled().tick, tick.tick, set()

    def both(state, queue):
        words, rows = np.array(state, np.int32), np.array(queue, np.int32)
        swift(words, rows)
        plain(state, queue)
        assert words.tolist() == state.tolist()
        assert rows.tolist() == queue.tolist()
        seen.add(state[tick.MODE])

    monkeypatch.setattr(tick, "tick", both)
    sheet = sheet_with(pulse={"enabled": True}, overload={"action": "ease"})
    day(Bench(rigid(sheet), sheet), "ease")
    assert seen == {tick.OFF, tick.REST, tick.PLAN, tick.RAMP, tick.FOLLOW, tick.EASE}


@pytest.mark.slow
def test_half_an_hour_of_turning_drifts_by_nothing():
    pytest.importorskip("numba")
    found = turning.turned_for(1800)
    assert (found["fault"], found["drift"], found["audit"]) == ("none", 0, 0)
    assert found["marks"] >= 25_000 - 1
    assert found["ticks"] * tick.TICK_US > 1 << 30
