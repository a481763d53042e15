"""Estimators on records that were made up, against what was put in and against general-purpose libraries on the same records."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.optimize import least_squares
from scipy.stats import linregress

from geartender.bench.estimators import magnets, mark, motor, press
from geartender.bench.estimators.fit import Value, jackknife, mean, product, solve
from geartender.bench.estimators.record import Record
from geartender.bench.estimators.torque_map import between, false_trips_per_hour, missed_share, torque_map

KE, OHM, J, DRAG = 0.024, 9.0, 2.6e-6, 0.0017
OWN_V = DRAG * OHM / KE
EDGES = 16
RAD = math.tau / EDGES


def run(volts: float, for_s: float, table: np.ndarray | None = None, rings: float = 0.0) -> Record:
    """A run at a held voltage and the coasting after it, of a rigid motor with dry friction; counted as a disc counts.

    A train that winds up `rings` at the start, by so many counts.
    """
    table = np.zeros(EDGES) if table is None else table
    step, fine = 0.002, 20
    x = speed = 0.0
    places, duties = [], []
    while not places or len(places) * step < for_s or abs(speed) > 1.0:
        held = volts if len(places) * step < for_s else 0.0
        places.append(x)
        duties.append(held / 12.0)
        for _ in range(fine):
            amps = (held - KE * speed) / OHM if held else 0.0
            accel = (KE * amps - math.copysign(DRAG, speed or volts)) / J
            speed += accel * step / fine
            x += speed * step / fine
    t = step * np.arange(len(places))
    turns = np.asarray(places) / math.tau + rings / EDGES * np.exp(-t / 0.5) * np.sin(math.tau * t / 0.4)
    whole = np.floor(turns)
    cells = np.searchsorted((np.arange(EDGES) + table) / EDGES, turns - whole, side="right") - 1
    count = (whole * EDGES + cells).astype(np.int64)
    size = len(count)
    return Record(t, count, np.asarray(duties), np.zeros(size, bool), np.full(size, 12.0))


def runs(table: np.ndarray | None = None) -> list[Record]:
    return [run(volts, 0.5, table) for volts in (4.0, -4.0, 7.0, -7.0, 10.0, -10.0)]


def parts_of(records: list[Record]) -> list[motor.Part]:
    return [
        part
        for number, record in enumerate(records)
        for part in motor.parts(record, number, RAD, np.zeros(EDGES), np.zeros(len(record.t_s)), 3)
    ]


def test_the_motor_is_what_was_put_in() -> None:
    found = motor.constants(parts_of(runs()), 0.0, None, OWN_V)
    ohm = Value(OHM, 0.0)
    assert found.ke_v_s.value == pytest.approx(KE, rel=0.02)
    assert found.ke_v_s.agrees(KE, 3)
    assert motor.inertia(found, ohm).value == pytest.approx(J, rel=0.03)
    for volts in found.drag_volts:
        assert volts.value * KE / OHM == pytest.approx(DRAG, rel=0.03)


def test_it_agrees_with_a_fit_of_the_whole_motion_by_scipy() -> None:
    """The same records, fitted by integrating the motor's equation: slower, and needs a start, but the same answer."""
    driven = [part for part in parts_of(runs()) if part.driven]

    def misfit(p: np.ndarray) -> np.ndarray:
        left = []
        for part in driven:
            a, whole, drag = p
            t, way = part.t_s - part.t_s[0], part.way
            push = a * abs(float(part.volts[5])) - drag
            seen = (part.x_rad - part.x_rad[0]) * way
            design = np.column_stack([np.ones(len(t)), (1 - np.exp(-whole * t)) / whole])
            free = push / whole * (t - (1 - np.exp(-whole * t)) / whole)
            start, *_ = np.linalg.lstsq(design, seen - free, rcond=None)
            left.append(seen - free - design @ start)
        return np.concatenate(left)

    theirs = least_squares(misfit, [800.0, 20.0, 500.0], x_scale=[800, 20, 500]).x
    ours = motor.constants(parts_of(runs()), 0.0, None, OWN_V)
    assert ours.accel_per_volt.value == pytest.approx(theirs[0], rel=0.01)
    assert 1 / ours.time_constant_s.value == pytest.approx(theirs[1], rel=0.01)


def test_too_little_says_so() -> None:
    with pytest.raises(ValueError, match="one way only"):
        motor.constants(parts_of([run(5.0, 0.5)] * 3), 0.0, None, OWN_V)
    with pytest.raises(ValueError, match="too few turns"):
        magnets.edges([run(4.0, 0.05)], EDGES)


def test_uneven_edges_are_found_within_two_hundredths_of_a_mark() -> None:
    table = np.random.default_rng(5).uniform(-0.15, 0.15, EDGES)
    table[0] = 0.0
    found, spread = magnets.edges([run(volts, 2.0, table) for volts in (3.0, -3.0, 6.0, -6.0)], EDGES)
    off = found - (table - table.mean())
    assert np.abs(off).max() / 4 < 0.02
    assert spread < 0.05


def test_a_train_that_rings_from_its_start_is_not_taken_for_uneven_edges() -> None:
    table = np.random.default_rng(3).uniform(-0.15, 0.15, EDGES)
    table[0] = 0.0
    runs = [run(volts, 4.0, table, rings=0.6) for volts in (1.6, -1.6, 1.8, -1.8, 2.0, -2.0)]
    found, _ = magnets.edges(runs, EDGES)
    assert np.abs(found - (table - table.mean())).max() / 4 < 0.006


def test_a_missing_mark_leaves_the_same_wide_cell_in_every_turn() -> None:
    gap = np.full(EDGES, 1.0)
    gap[7] = 4.0
    table = np.append(0.0, np.cumsum(gap * EDGES / gap.sum()))[:-1] - np.arange(EDGES)
    for off, wide in ((table, True), (np.zeros(EDGES), False)):
        (at, one), (again, other) = magnets.wide_cell_of_halves([run(4.0, 2.0, off)], EDGES, 2, turns_even=False)
        assert (min(one, other) > 2.0) is wide
        assert (at, again) == (7, 7) or not wide


def test_resistance_by_readings_owns_up_to_the_meter() -> None:
    found = motor.resistance([3.0, 4.0], [3.0 / 9.0, 4.0 / 9.0], 0.008, 0.001)
    assert found.value == pytest.approx(9.0)
    assert 0.07 < found.uncertainty < 0.09


def test_the_supply_is_a_straight_line_like_scipys() -> None:
    rng = np.random.default_rng(1)
    drawn = rng.uniform(0, 1.5, 40)
    volts = 12.1 - 0.3 * drawn + rng.normal(0, 0.01, 40)
    open_v, ohm = motor.supply([(float(v), 1.0, float(i)) for v, i in zip(volts, drawn, strict=True)])
    theirs = linregress(drawn, volts)
    assert (open_v.value, ohm.value) == (pytest.approx(theirs.intercept), pytest.approx(-theirs.slope))
    assert (open_v.uncertainty, ohm.uncertainty) == (
        pytest.approx(theirs.intercept_stderr),
        pytest.approx(theirs.stderr),
    )


def test_uncertainties_add_as_they_should() -> None:
    assert product(2.0, (Value(3.0, 0.3), 1), (Value(2.0, 0.1), -2)).uncertainty == pytest.approx(
        1.5 * math.hypot(0.1, 0.1)
    )
    samples = np.random.default_rng(2).normal(5.0, 1.0, 30)
    value, spread = jackknife(list(samples), lambda chosen: np.array([np.mean(chosen)]))
    assert value[0] == pytest.approx(samples.mean())
    assert spread[0] == pytest.approx(mean(samples).uncertainty, rel=1e-6)
    parameters, _ = solve(np.column_stack([np.ones(5), np.arange(5.0) * 1e9]), 2.0 + 3.0 * np.arange(5.0))
    assert parameters == pytest.approx([2.0, 3e-9])


def test_a_part_of_a_measured_whole_is_what_least_squares_make_of_it() -> None:
    whole, one, other = Value(5.5, 0.2), Value(1.1, 0.2), Value(5.6, 1.7)
    design = np.array([[1.0, 1.0], [1.0, 0.0], [0.0, 1.0]])
    weights = 1 / np.array([whole.uncertainty, one.uncertainty, other.uncertainty])
    seen = np.array([whole.value, one.value, other.value])
    theirs = np.linalg.lstsq(design * weights[:, None], seen * weights, rcond=None)[0]
    spread = np.sqrt(np.linalg.inv((design * weights[:, None] ** 2).T @ design)[0, 0])
    found = motor.split(whole, one, other)
    assert (found.value, found.uncertainty) == (pytest.approx(theirs[0]), pytest.approx(spread))


def record_of(count: list[int], volts: list[float], marks: list[bool] | None = None) -> Record:
    size = len(count)
    return Record(
        0.002 * np.arange(size),
        np.asarray(count, np.int64),
        np.asarray(volts) / 10.0,
        np.asarray(marks or [False] * size),
        np.full(size, 10.0),
    )


def test_the_play_is_the_longest_way_from_where_the_rotor_waited_to_where_it_waits_again() -> None:
    count = [0] * 100 + [1] * 80 + list(range(2, 22)) + [21] * 80 + list(range(22, 80))
    record = record_of(count, [0.01 * at for at in range(len(count))])
    seen = press.crossed(record, 1)
    assert seen is not None
    assert seen.value == 20
    assert seen.uncertainty == pytest.approx(0.41)
    assert press.crossed(record_of([0] * 50, [0.0] * 50), 1) is None


def test_the_other_flank_is_between_where_the_rotor_was_quickest_and_where_it_waits() -> None:
    slows = [count for count, samples in ((19, 4), (20, 8), (21, 16)) for _ in range(samples)]
    record = record_of(
        count := [0] * 100 + [1] * 80 + list(range(2, 19)) + slows + [22] * 80, [0.01 * at for at in range(len(count))]
    )
    seen = press.crossed(record, 1)
    assert seen is not None
    assert seen.value == pytest.approx(18 + (21 - 18) / 3, abs=0.3)
    assert seen.uncertainty == pytest.approx(math.hypot(0.41, 3 / math.sqrt(12)), abs=0.2)


def test_a_play_of_few_counts_that_is_crept_over_ends_where_the_rotor_waits_longest() -> None:
    count = [0] * 100 + [1] * 80 + [2] * 45 + [3] * 200 + [4] * 60 + list(range(5, 80))
    seen = press.crossed(record_of(count, [0.01 * at for at in range(len(count))]), 1)
    assert seen is not None
    assert abs(seen.value - 2.3) < 2 * seen.uncertainty


def test_the_marks_edge_shows_the_play() -> None:
    there = list(range(100, 0, -1))
    back = list(range(100))
    marks = [count <= 60 for count in there] + [count < 72 for count in back]
    found = mark.passages(record_of(there + back, [0.0] * 200, marks))
    play = mark.play(found, -1)
    assert play is not None
    assert play.value == pytest.approx(12.0, abs=1.0)


def test_the_marks_width_is_told_by_each_way_for_itself() -> None:
    there = list(range(200, 0, -1))
    back = list(range(200))
    marks = [60 <= count <= 160 for count in there] + [75 <= count <= 175 for count in back]
    found = mark.passages(record_of(there + back, [0.0] * 400, marks))
    wide = mark.width(found)
    assert wide is not None
    assert wide.value == pytest.approx(101.0, abs=0.5)
    assert wide.uncertainty == pytest.approx(0.29, abs=0.01)
    assert mark.width([one for one in found if one.entered]) is None


def test_a_record_is_the_same_when_it_was_put_by() -> None:
    record = run(5.0, 0.3)
    again = Record.unpack(record.pack())
    assert np.array_equal(again.count, record.count)
    assert np.allclose(again.duty, record.duty, atol=1e-4)
    assert np.allclose(again.t_s, record.t_s)


def test_a_threshold_lies_between_need_and_teeth() -> None:
    angles, torques = np.linspace(0, 10, 200), np.full(200, 2.0)
    bins = torque_map(angles, torques, 5.0)
    assert [(one.deg, one.mean_nm) for one in bins[:2]] == [(2.5, 2.0), (7.5, 2.0)]
    assert between(2.0, 0.1, 8.0) == pytest.approx(math.sqrt(2.5 * 8.0))
    assert between(7.0, 0.5, 8.0) == 8.0
    assert false_trips_per_hour(3.0, 2.0, 0.2, 5.0) == pytest.approx(18_000 * math.exp(-12.5))
    assert false_trips_per_hour(1.0, 2.0, 0.2, 5.0) == 18_000
    assert missed_share(8.0, 8.0, 0.15) == pytest.approx(0.5)
    assert missed_share(4.0, 8.0, 0.15) < 1e-3
