"""Queues of pieces, turns, jogs, stops, and what happens at rest."""

import math
import random
from fractions import Fraction

import pytest

from geartender.firmware import tick
from geartender.firmware.plan import Piece, Plan
from geartender.motion import State
from tests.firmware.kit import FINE, Bench, rigid, sheet_with


@pytest.fixture
def bench() -> Bench:
    return Bench().ready()


def exact(piece: Piece, us: int) -> Fraction:
    s = Fraction(us, 1_000_000)
    return piece.position + piece.speed * s + piece.acceleration * s**2 / 2 + piece.jerk * s**3 / 6


def test_the_reference_is_where_the_plan_says_at_every_tick(bench):
    start = bench.after(0.1)
    path = bench.path(47.3)
    assert bench.queue(2, path, start) == ["ok"]
    plan, _ = bench.sim._board.core.verbs._plans[-1]
    worst = Fraction(0)
    while bench.telemetry["ended"] != 2:
        bench.step()
        us = (bench.state[tick.NOW] - start) & tick.MASK
        piece = next((piece for piece in plan.pieces if piece.start <= us < piece.start + piece.duration), None)
        if piece is not None and us < tick.HALF:
            place = Fraction(bench.state[tick.R_INT]) + Fraction(bench.state[tick.R_FRAC], 1 << 24)
            off = abs(place - exact(piece, us - piece.start) / FINE % (1 << 30))
            worst = max(worst, off)
    assert 0 < worst < Fraction(1, 1000)
    assert abs(bench.telemetry["count"] - math.floor(plan.end() / FINE)) <= 1


def test_two_hundred_random_moves_end_within_a_count_of_the_truth(bench):
    dice = random.Random(7)
    for motion in range(2, 202):
        target = dice.uniform(0.5, 74.5)
        assert bench.move(motion, target)["how"] == "done"
        bench.run(0.05)
        assert abs(bench.sim.truth().output_deg - target) * bench.per_deg < 1.0, (motion, target)


def test_a_queue_joins_the_one_that_runs_or_is_refused(bench):
    start = bench.after(0.1)
    path = bench.path(60.0)
    assert bench.queue(2, path, start) == ["ok"]
    bench.run(1.0)
    splice = bench.after(0.1)
    there = path.at(((splice - start) & tick.MASK) / 1e6)
    off = State(there.position + 1.0, there.velocity, there.acceleration)
    assert bench.queue(3, bench.path(20.0, off), splice) == ["no", "join"]
    fast = State(there.position, there.velocity * 1.1, there.acceleration)
    assert bench.queue(3, bench.path(20.0, fast), splice) == ["no", "join"]
    assert bench.queue(3, bench.path(20.0, there), splice) == ["ok"]
    assert bench.until(lambda: bench.telemetry["ended"] == 2)
    assert bench.telemetry["how"] == "replaced"
    assert bench.until(lambda: bench.telemetry["ended"] == 3)
    assert abs(bench.angle_deg - 20.0) * bench.per_deg < 1.0


def test_a_queue_that_replaces_one_which_has_not_begun_leaves_no_motion_open(bench):
    start = bench.after(0.4)
    assert bench.queue(2, bench.path(60.0), start) == ["ok"]
    assert bench.queue(3, bench.path(10.0), bench.after(0.2)) == ["ok"]
    assert bench.until(lambda: bench.telemetry["ended"] == 3)
    assert abs(bench.angle_deg - 10.0) * bench.per_deg < 1.0
    bench.run(0.5)
    assert bench.telemetry["state"] == "ready"


@pytest.mark.parametrize("target", [80.0, -5.0])
def test_a_queue_beyond_the_travel_is_refused(bench, target):
    assert bench.queue(2, bench.path(target), bench.after(0.1)) == ["no", "travel"]


def test_a_queue_that_does_not_end_at_rest_is_refused(bench):
    at = bench.after(0.1)
    here = bench.telemetry["reference"]
    assert bench.ask("plan", 2, at, at, 1) == ["ok"]
    assert bench.ask("piece", 0, 500_000, here, 0, 300 * FINE, 0) == ["ok"]
    assert bench.ask("go", 2, bench.after(0.2)) == ["no", "rest"]


def test_pieces_that_do_not_join_each_other_are_refused(bench):
    at = bench.after(0.2)
    here = bench.telemetry["reference"]
    bench.ask("plan", 2, at, at, 2)
    bench.ask("piece", 0, 100_000, here, 0, 0, 0)
    assert bench.ask("piece", 1, 100_000, here + FINE, 0, 0, 0) == ["no", "join"]


def test_a_servo_that_is_not_homed_takes_no_queue():
    bench = Bench()
    bench.arm()
    assert bench.ask("plan", 2, bench.after(0.2), bench.after(0.1), 1) == ["no", "homeless"]


@pytest.mark.parametrize("load_share", [0.0, 0.25, 0.5])
def test_a_turn_holds_its_speed_up_to_half_of_stall_torque(load_share):
    sheet = sheet_with(travel={"min_deg": None, "max_deg": None, "endless": True}, load={"gravity_nm": 0.0})
    sheet = sheet_with(
        sheet, overload={"torque_nm": 14.0}, bridge={"current_limit_a": 10.0}, limits={"torque_nm": 14.0}
    )
    bench = Bench(rigid(sheet), sheet).ready()
    stall_nm = bench.scale.nm_per_a * 12.0 / 9.0
    bench.sim.command(f"load {load_share * stall_nm:.3f}")
    speed = 10.0
    assert bench.ask("turn", 2, bench.after(0.2), round(speed * bench.per_deg * FINE), 0) == ["ok"]
    bench.run(2.0)
    turns = 8
    before = bench.sim.truth()
    bench.until(lambda: bench.sim.truth().motor_counts - before.motor_counts >= 16 * turns)
    after = bench.sim.truth()
    held = (after.output_deg - before.output_deg) / (after.t_s - before.t_s)
    assert held == pytest.approx(speed, rel=0.01)


def test_a_turn_for_a_time_ends_by_itself(bench):
    assert bench.ask("turn", 2, bench.after(0.2), round(5.0 * bench.per_deg * FINE), 1_000_000) == ["ok"]
    began = bench.now
    assert bench.until(lambda: bench.telemetry["ended"] == 2)
    assert bench.telemetry["how"] == "done"
    assert 1_000_000 <= (bench.now - began) & tick.MASK < 1_500_000


def test_a_turn_changes_its_speed_under_the_same_motion(bench):
    for speed in (3.0, 8.0, -4.0):
        assert bench.ask("turn", 2, bench.after(0.2), round(speed * bench.per_deg * FINE), 0) == ["ok"]
        bench.run(1.0)
        assert bench.sim.truth().output_deg_s == pytest.approx(speed, rel=0.1)
    assert bench.telemetry["motion"] == 2


def test_a_turn_above_the_limit_is_refused(bench):
    assert bench.ask("turn", 2, bench.after(0.2), round(40.0 * bench.per_deg * FINE), 0) == ["no", "range", "speed"]


def test_a_jog_ends_when_it_is_no_longer_repeated(bench):
    for _ in range(5):
        assert bench.ask("jog", 2, bench.after(0.2), round(6.0 * bench.per_deg * FINE)) == ["ok"]
        bench.run(0.1)
    assert bench.telemetry["state"] == "jogging"
    assert bench.sim.truth().output_deg_s == pytest.approx(6.0, rel=0.1)
    began = bench.now
    assert bench.until(lambda: bench.telemetry["ended"] == 2)
    assert (bench.now - began) & tick.MASK < 650_000, "300 ms and a ramp"


@pytest.mark.parametrize(("category", "armed", "seconds"), [(0, False, 0.02), (1, False, 0.6), (2, True, 0.6)])
def test_a_stop_of_each_category(bench, category, armed, seconds):
    bench.ask("turn", 2, bench.after(0.2), round(10.0 * bench.per_deg * FINE), 0)
    bench.run(1.0)
    bench.raw(f"stop {category} 1")
    began = bench.ticks
    assert bench.until(lambda: bench.telemetry["ended"] == 2)
    assert bench.telemetry["how"] == "stopped"
    assert bench.telemetry["number"] == 1
    assert bench.until(lambda: bench.telemetry["state"] == ("ready" if armed else "disarmed"))
    assert (bench.ticks - began) * 0.002 <= seconds
    bench.run(0.3)
    assert bench.sim.truth().output_deg_s == 0.0


def test_a_repeated_stop_is_obeyed_once(bench):
    bench.raw("stop 2 1")
    bench.run(0.1)
    bench.ask("turn", 2, bench.after(0.2), round(10.0 * bench.per_deg * FINE), 0)
    bench.raw("stop 2 1")
    bench.run(0.5)
    assert bench.telemetry["state"] == "turning"


def test_a_category_2_stop_does_not_soften_a_category_1_stop(bench):
    bench.ask("turn", 2, bench.after(0.2), round(10.0 * bench.per_deg * FINE), 0)
    bench.run(1.0)
    bench.raw("stop 1 1")
    bench.run(0.02)
    bench.raw("stop 2 2")
    assert bench.until(lambda: bench.telemetry["state"] == "disarmed", 2.0)


def test_a_stop_before_a_queue_has_begun_ends_its_motion(bench):
    assert bench.queue(2, bench.path(60.0), bench.after(0.5)) == ["ok"]
    bench.raw("stop 2 1")
    assert bench.until(lambda: bench.telemetry["ended"] == 2, 0.2)
    where = bench.sim.truth().output_deg
    bench.run(1.5)
    assert bench.sim.truth().output_deg == pytest.approx(where, abs=0.05)
    assert bench.telemetry["state"] == "ready"


@pytest.mark.parametrize(("mode", "sags"), [("brake", True), ("hold", False), ("coast", True)])
def test_what_happens_at_rest_under_a_weight_that_drives_the_train(mode, sags):
    sheet = sheet_with(rest={"after_move": mode})
    bench = Bench(rigid(sheet, load={"gravity_nm": 4.0, "friction_nm": 0.0}), sheet).ready()
    assert bench.until(lambda: bench.sim.truth().output_deg_s == 0.0), "it may sink onto its stop first"
    bench.run(0.1)
    bench.move(2, 40.0)
    bench.run(1.0)
    off = abs(bench.sim.truth().output_deg - 40.0) * bench.per_deg
    assert (off > 2.0) is sags


def test_short_pieces_between_two_ticks_are_passed_over():
    plan = Plan(1, 500, 3)
    for index in range(3):
        assert plan.add(700, 0, 0, 0, 0) is None, index
    queue = [0] * tick.QUEUE_WORDS
    time, row, end = plan.write(queue, 0, 0)
    assert (time, row) == (2000, 0)
    assert end == 2 * tick.ROW_WORDS
