"""How well the three machines are controlled, held against the mechanics' truth."""

import itertools
import random

import pytest

from geartender.build import figures as build_figures
from geartender.firmware import tick
from tests.firmware.kit import FINE
from tests.firmware.measures import Record, mean_speed_off, move, turn, undriven_peak_nm
from tests.firmware.plants import MACHINES


@pytest.fixture(params=MACHINES.values(), ids=list(MACHINES))
def machine(request):
    return request.param


def test_moves_end_where_they_should_as_planned_and_stay_there(machine):
    bench = Record(machine)
    bench.ready()
    dice = random.Random(1)
    travel = machine.sheet.travel
    moved = [move(bench, motion, dice.uniform(travel.min_deg, travel.max_deg)) for motion in range(2, 22)]
    assert {figures.how for figures in moved} == {"done"}
    assert max(figures.end_counts for figures in moved) <= 1
    assert max(figures.overshoot_counts for figures in moved) <= 1
    assert max(figures.following_counts for figures in moved) <= 3
    assert max(figures.late_s for figures in moved) <= 0.2
    assert max(figures.torque_off for figures in moved) <= 0.1
    bench.run(1.0)
    rest = len(bench.rows)
    bench.run(1.0)
    assert len({row.duty for row in bench.since(rest)}) == 1, "it does not hunt at rest"


@pytest.mark.parametrize("share", [0.0, 0.4])
def test_a_turn_holds_its_speed_and_knows_its_load(machine, share):
    bench = Record(machine)
    bench.ready()
    bench.move(2, machine.sheet.travel.min_deg + 3)
    bench.sim.command(f"load {share * machine.limit_nm:g}")
    deg_s = machine.sheet.limits.speed_deg_s / 2
    rows = turn(bench, 3, deg_s, 1.2)
    assert bench.telemetry["fault"] == "none"
    count = 1 / bench.per_deg / 1.2 / deg_s  # a count at the one end may fall to either side
    assert mean_speed_off(bench, rows, deg_s) <= 0.005 + count
    felt, true = (sum(getattr(row, name) for row in rows) / len(rows) for name in ("load_nm", "true_nm"))
    assert abs(felt - true) <= 0.05 * machine.limit_nm


def test_a_load_step_is_taken_up_without_a_fault(machine):
    bench = Record(machine)
    bench.ready()
    bench.move(2, machine.sheet.travel.min_deg + 3)
    deg_s = machine.sheet.limits.speed_deg_s / 2
    assert bench.ask("turn", 3, bench.after(0.2), round(deg_s * bench.per_deg * FINE), 0) == ["ok"]
    bench.run(0.8)
    bench.sim.command(f"load {0.4 * machine.limit_nm:g}")
    bench.run(0.9)
    assert bench.telemetry["fault"] == "none"
    assert abs(bench.rows[-1].behind) <= 1.5


@pytest.mark.parametrize("seed", [0, 42, 44])
def test_a_sudden_jam_is_braked_before_the_teeth_get_the_rotors_blow_and_the_drive_on_top(machine, seed):
    bench = Record(machine, seed)
    bench.ready()
    dice = random.Random(seed)
    travel = machine.sheet.travel
    for motion in range(2, 8):
        bench.move(motion, dice.uniform(travel.min_deg, travel.max_deg))
    bench.move(20, travel.min_deg + 3)
    speed = machine.sheet.limits.speed_deg_s
    assert bench.ask("turn", 21, bench.after(0.2), round(speed * bench.per_deg * FINE), 0) == ["ok"]
    bench.run(0.7 + 0.013 * seed)
    bench.sim.command("jam")
    jammed = len(bench.rows)
    assert bench.until(lambda: bench.telemetry["state"] == "faulted", 1.0)
    assert bench.telemetry["fault"] in ("overload", "stalled")
    peak = max(abs(row.true_nm) for row in bench.since(jammed))
    energy = build_figures(machine.sheet).sudden_stop_torque_nm
    assert peak <= max(0.7 * energy, machine.limit_nm)
    assert peak <= max(undriven_peak_nm(machine, 0, speed), machine.limit_nm), (
        "less than with drive taken away at the jam"
    )


def test_a_slow_jam_never_presses_more_than_a_tenth_above_the_limit(machine):
    bench = Record(machine)
    bench.ready()
    bench.move(2, machine.sheet.travel.min_deg + 3)
    bench.sim.command("jam")
    slow = machine.sheet.limits.speed_deg_s / 20
    assert bench.ask("turn", 3, bench.after(0.2), round(slow * bench.per_deg * FINE), 0) == ["ok"]
    jammed = len(bench.rows)
    assert bench.until(lambda: bench.telemetry["state"] == "faulted", 20.0)
    assert max(abs(row.true_nm) for row in bench.since(jammed)) <= 1.1 * machine.limit_nm


def test_a_train_wound_up_by_friction_is_not_taken_for_lost_counts():
    assert ordinary_moves(MACHINES["heavy"], 36, 6) == ["done"] * 6


@pytest.mark.parametrize("seed", range(3))
def test_ordinary_moves_under_up_to_four_fifths_of_the_limit_trip_nothing(machine, seed):
    assert ordinary_moves(machine, seed, 6) == ["done"] * 6


def ordinary_moves(machine, seed: int, moves: int) -> list[str]:
    """How so many moves end, under a load and with a disc that the seed draws."""
    dice = random.Random(seed)
    disc = machine.plant.disc.model_copy(update={"phase_error_deg": dice.uniform(0, 20)})
    bench = Record(machine._replace(plant=machine.plant.model_copy(update={"disc": disc})), seed)
    bench.ready()
    own = machine.plant.load.gravity_nm + machine.plant.load.friction_nm
    bench.sim.command(f"load {max(0.0, 0.8 * machine.limit_nm - own) * dice.random():g}")
    travel = machine.sheet.travel
    ends: list[str] = []
    while len(ends) < moves:
        path = bench.path(dice.uniform(travel.min_deg, travel.max_deg))
        if path.pieces:
            motion = len(ends) + 2
            assert bench.queue(motion, path, bench.after(0.1)) == ["ok"]
            bench.until(lambda motion=motion: bench.telemetry["ended"] == motion)
            ends.append(bench.telemetry["how"])
    return ends


def light_rotor(kg_m2: float):
    """The heavy lever on a motor with a rotor so light."""
    heavy = MACHINES["heavy"]
    motor = heavy.sheet.motor.model_copy(update={"rotor_inertia_kg_m2": kg_m2})
    sheet = heavy.sheet.model_copy(update={"motor": motor})
    plant_motor = heavy.plant.motor.model_copy(update={"rotor_inertia_kg_m2": kg_m2})
    return heavy._replace(sheet=sheet, plant=heavy.plant.model_copy(update={"motor": plant_motor}))


@pytest.mark.parametrize("kg_m2", [1e-6, 2.8e-6, 6e-6])
def test_drive_and_observer_do_not_make_each_other_swing_however_light_the_rotor(kg_m2):
    bench = Record(light_rotor(kg_m2))
    bench.ready()
    began = len(bench.rows)
    assert move(bench, 2, 60.0).how == "done"
    duties = [row.duty for row in bench.since(began) if row.mode == tick.PLAN]
    steps = [b - a for a, b in itertools.pairwise(duties)]
    back = sum(a * b < 0 and min(abs(a), abs(b)) > 200 for a, b in itertools.pairwise(steps))
    assert back < len(steps) / 20, "the duty does not go to and fro from tick to tick"


def test_a_wrong_speed_does_not_make_the_mark_count_from_its_far_side():
    machine = MACHINES["heavy"]
    bench = Record(machine)
    bench.ready()
    far = machine.sheet.home.angle_deg - machine.plant.home.width_deg
    assert bench.move(2, far - 0.5)["how"] == "done"
    assert bench.queue(3, bench.path(far + 2.0), bench.after(0.1)) == ["ok"]
    while not bench.state[tick.HOME]:
        if far - 0.02 < bench.sim.truth().output_deg < far:
            bench.state[tick.X_SPEED] = -16_000
        bench.step()
    assert bench.until(lambda: bench.telemetry["ended"] == 3)
    assert (bench.telemetry["how"], bench.telemetry["homed"]) == ("done", 1)
