"""A small part of tests/benchmarks/turning.py: an endless output, over the wraps of time and count."""

from geartender.firmware import tick
from tests.benchmarks import turning


def test_turns_over_the_wraps_drift_by_nothing(monkeypatch):
    monkeypatch.setattr(turning, "BEFORE_WRAP_US", 6_000_000)
    found = turning.turned(60)
    assert (found["fault"], found["drift"], found["audit"]) == ("none", 0, 0)
    assert found["marks"] >= 60
    assert found["ticks"] * tick.TICK_US > 5_000_000 // 2
