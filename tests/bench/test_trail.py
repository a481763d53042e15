"""The plot that grows while a step moves."""

from __future__ import annotations

from geartender.bench.trail import POINTS, Trail


def test_it_grows_with_what_is_seen() -> None:
    trail = Trail()
    for at in range(100):
        trail.look(at * 0.02, at * 0.5)
    points = trail.plot.series["turned"]
    assert points[0] == (0.0, 0.0)
    assert 15 <= len(points) <= 21
    assert points[-1][1] > 40


def test_an_hour_takes_no_more_room_than_a_minute_and_still_spans_all_of_it() -> None:
    trail = Trail()
    for at in range(36_000):
        trail.look(at * 0.1, float(at))
    points = trail.plot.series["turned"]
    assert POINTS // 2 <= len(points) <= POINTS
    assert points[0][0] == 0.0
    assert points[-1][0] > 3500
    assert points == sorted(points)
