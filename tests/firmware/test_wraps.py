"""Every counter comes round one day: whatever they stood at when it began, the same happens, tick by tick."""

import functools

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from geartender.firmware import tick
from geartender.firmware.plan import Piece, Plan, wrapped
from geartender.firmware.tick import HALF, MASK, TICK_US
from geartender.motion import Limits, State, plan
from tests.firmware.kit import FINE, Bench, rigid

COUNTERS = (tick.TICKS, tick.SQUARES, tick.EDGES, tick.MARKS)
"""Those whose value means nothing but its changes."""
LIMITS = Limits(700.0, 1400.0, 7000.0)
"""Counts per s, s², s³ of the queues here."""


def started(now: int = 0, count: int = 0, counters: int = 0, first_id: int = 1000) -> Bench:
    """A bench whose clock and count begin at these values, modulo 2^30; the host greets as usual."""
    bench = Bench(rigid(start_deg=2.0), greet=False)
    s = bench.state
    s[tick.NOW] = now & MASK
    s[tick.COUNT] = s[tick.X_INT] = count & MASK
    bench.sim._count_at_boot = -count
    for slot in COUNTERS:
        s[slot] = counters & MASK
    heat = bench.sim._board.core.heat
    heat._sum = heat._ticks = counters & MASK
    bench.sent_ids = first_id
    bench.hello()
    bench.give_settings()
    bench.ask("rate", 10)
    return bench


def queue(bench: Bench, motion: int, to_counts: float, ahead_s: float) -> None:
    """Send a queue to a place in counts from the home edge; no rounding but of what is far from any wrap."""
    origin = bench.telemetry["origin"]
    at = bench.after(ahead_s)
    path = plan(State((bench.telemetry["reference"] - origin) / FINE), to_counts, LIMITS)
    assert bench.ask("plan", motion, at, at, len(path.pieces)) == ["ok"]
    for index, piece in enumerate(path.pieces):
        start = piece.start
        rest = [round(number * FINE) for number in (start.velocity, start.acceleration, piece.jerk)]
        place = origin + round(start.position * FINE)
        assert bench.ask("piece", index, round(piece.duration * 1e6), place, *rest) == ["ok"]
    assert bench.ask("go", motion, at) == ["ok"]


class Day:
    """One of everything; what the tick and the host saw at every tick, seen from where the counters began."""

    def __init__(self, bench: Bench, count: int = 0, number: int = 0) -> None:
        self.bench = bench
        self.count = count
        self.seen: list[tuple[object, ...]] = []
        step = bench.step

        def stepped() -> None:
            step()
            self.seen.append(self.look())

        bench.step = stepped  # type: ignore[method-assign]
        self.live(number)

    def look(self) -> tuple[object, ...]:
        s, told = self.bench.state, self.bench.telemetry
        words = [s[slot] for slot in (tick.LABEL, tick.PENDING, tick.R_FRAC, tick.DUTY_OUT, tick.X_FRAC, tick.X_SPEED)]
        places = [(s[slot] - self.count) & MASK for slot in (tick.COUNT, tick.R_INT, tick.X_INT)]
        raw = [told[name] - (wrapped(self.count) * FINE) for name in ("reference", "origin") if s[tick.HOMED]]
        kept = [told[name] for name in ("state", "homed", "how", "fault", "winding", "load")]
        return (*words, *places, *raw, *kept, told["count"] - wrapped(self.count), s[tick.DELTA])

    def live(self, number: int) -> None:
        bench = self.bench
        bench.arm()
        bench.home()
        bench.run(0.2)
        queue(bench, 2, 900.5, 0.3)
        assert bench.until(lambda: bench.telemetry["ended"] == 2)
        queue(bench, 3, 300.5, 0.1)
        assert bench.until(lambda: bench.telemetry["ended"] == 3)
        bench.ask("turn", 4, bench.after(0.2), 400 * FINE, 600_000)
        assert bench.until(lambda: bench.telemetry["ended"] == 4)
        for _ in range(3):
            bench.ask("jog", 5, bench.after(0.2), -400 * FINE)
            bench.run(0.1)
        bench.raw(f"stop 2 {number + 1}")
        assert bench.until(lambda: bench.telemetry["ended"] == 5)
        bench.run(0.1)
        assert bench.telemetry["number"] == (number + 1) % (1 << 30)


@functools.cache
def plain() -> list[tuple[object, ...]]:
    return Day(started()).seen


def moment(label: int, pending: int = 0, later: int = 20) -> int:
    """Index of a tick of the day, some ticks after a state first came."""
    return next(i for i, seen in enumerate(plain()) if seen[:2] == (label, pending)) + later


MOMENTS = {
    "homing": lambda: moment(tick.HOMING, later=300),
    "at rest": lambda: moment(tick.READY),
    "with a queue that waits": lambda: moment(tick.READY, 1),
    "just before a queue begins": lambda: moment(tick.MOVING, later=-2),
    "in a queue": lambda: moment(tick.MOVING, later=300),
    "turning": lambda: moment(tick.TURNING, later=150),
    "jogging": lambda: moment(tick.JOGGING, later=60),
    "stopping": lambda: moment(tick.STOPPING),
}


def greeting_ticks() -> int:
    return started().ticks


@pytest.mark.parametrize("when", MOMENTS)
def test_the_clock_comes_round(when):
    began = -(MOMENTS[when]() + greeting_ticks()) * TICK_US
    assert Day(started(now=began)).seen == plain()


@pytest.mark.parametrize("turn", [0, pytest.param(HALF, marks=pytest.mark.slow)])
@pytest.mark.parametrize("when", ["homing", "at rest", "in a queue", "turning", "jogging", "stopping"])
def test_the_count_comes_round_and_passes_half_way_in_both_directions(when, turn):
    count = (turn - plain()[MOMENTS[when]()][6]) & MASK
    assert Day(started(count=count), count).seen == plain()


def test_moves_go_both_ways_in_that_day():
    counts = [wrapped(seen[6]) for seen in plain()]
    steps = {
        label: {
            (b > a) - (b < a) for a, b, seen in zip(counts, counts[1:], plain()[1:], strict=False) if seen[0] == label
        }
        for label in (tick.MOVING, tick.TURNING, tick.JOGGING, tick.HOMING)
    }
    assert {1, -1} <= steps[tick.MOVING]
    assert {1, -1} <= steps[tick.HOMING]
    assert 1 in steps[tick.TURNING]
    assert -1 in steps[tick.JOGGING]


@pytest.mark.parametrize("before", [1, 100, 3000])
def test_ticks_heat_and_edges_come_round(before):
    assert Day(started(counters=-before)).seen == plain()


@pytest.mark.slow
@settings(max_examples=15)
@given(*[st.integers(0, MASK)] * 3)
def test_whatever_clock_count_and_counters_stand_at_the_same_happens(now, count, counters):
    assert Day(started(now, count, counters), count).seen == plain()


def test_ids_and_stop_numbers_pass_the_last_of_30_bits():
    bench = started(first_id=(1 << 30) - 20)
    bench.state[tick.STOP_NUMBER] = MASK
    assert Day(bench, number=MASK).seen == plain()
    assert bench.sent_ids > 1 << 30


def at_rest_before_the_wrap(seconds: float) -> Bench:
    bench = Bench().ready()
    began = (-round(seconds * 1e6)) & MASK
    core = bench.sim._board.core
    bench.state[tick.NOW] = core._clock = core._last_sent = began
    bench.run(0.02)
    return bench


def test_a_deadline_before_the_wrap_is_late_after_it_and_one_after_it_is_not_late_before_it():
    bench = at_rest_before_the_wrap(0.1)
    early = bench.after(0.05)
    assert early > HALF
    assert bench.ask("turn", 2, bench.after(0.2), 65536, 2000) == ["ok"]
    bench.run(0.1)
    assert bench.now < HALF
    assert bench.ask("turn", 3, early, 65536, 2000) == ["no", "late"]


def long_plan(start: int) -> Plan:
    """Twelve pieces of a minute: longer than the clock's way half round."""
    long = Plan(2, start, 12)
    for index in range(12):
        assert long.add(60_000_000, index * 60 * FINE, FINE if index < 11 else 0, 0, 0) is None
    return long


@pytest.mark.parametrize("start", [4000, 4123, (1 << 30) - 777, (1 << 31) + 5])
def test_every_row_of_a_queue_longer_than_half_the_clock_is_at_a_tick(start):
    words = [0] * tick.QUEUE_WORDS
    now = start - 4000
    first, row, end = long_plan(start).write(words, 0, now)
    times = [words[index] for index in range(row, end, tick.ROW_WORDS)]
    assert len(times) == 13
    assert first == times[0]
    for index, time in enumerate(times):
        after = (time - start) & MASK
        expected = index * 60_000_000
        after += round((expected - after) / (1 << 30)) << 30
        assert 0 <= after - expected < TICK_US
        assert (start + after - now) % TICK_US == 0
        behind = Piece(0, 1, (index * 60 if index < 12 else 660) * FINE, FINE if index < 11 else 0, 0, 0)
        assert words[row + index * tick.ROW_WORDS + 1] == behind.row(after - expected)[0]


def test_a_queue_that_has_run_for_ten_minutes_can_be_joined():
    bench = started()
    bench.settings |= {"endless": 1, "following_counts": 100_000, "wrong_way_counts": 10_000, "stall_ms": 10_000}
    bench.give_settings()
    bench.ready()
    start = bench.after(0.1)
    here = bench.telemetry["reference"]
    speed = FINE // 4  # slow enough to be started at once
    assert bench.ask("plan", 2, start, start, 12) == ["ok"]
    for index in range(12):
        assert bench.ask("piece", index, 60_000_000, here + index * 60 * speed, speed, 0, 0) == ["ok"]
    assert bench.ask("go", 2, start) == ["ok"]
    bench.run(0.3)
    skipped = 600_000_000
    core = bench.sim._board.core
    bench.state[tick.NOW] = (bench.state[tick.NOW] + skipped) & MASK
    core._clock += skipped
    core._last_sent = bench.state[tick.NOW]
    bench.run(0.06)
    splice = bench.after(0.1)
    place = here + speed * (((splice - start) & MASK) / 1e6)
    assert bench.ask("plan", 3, splice, splice, 1) == ["ok"]
    assert bench.ask("piece", 0, 200_000, round(place), speed, 0, 0) == ["ok"]
    assert bench.ask("go", 3, splice) == ["ok"]
