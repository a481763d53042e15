"""The simulated servo as a device: its fault commands, its truth file, and the same again from the same seed."""

import csv
import io
from dataclasses import fields
from itertools import pairwise

import pytest

from geartender.errors import PlantError
from geartender.firmware import tick
from geartender.simulator.device import COMMANDS, SimulatedServo, TruthFile
from geartender.simulator.mechanics import Truth
from tests.firmware.interpreter import micropython
from tests.firmware.kit import FINE, VENT, Bench, plant_with, rigid


def turning(bench: Bench) -> Bench:
    assert bench.ask("turn", 50, bench.after(0.2), round(10.0 * bench.per_deg * FINE), 0) == ["ok"]
    bench.run(1.2)
    return bench


@pytest.fixture
def bench() -> Bench:
    return turning(Bench().ready())


def test_jam_holds_the_output_and_free_lets_it_go(bench):
    bench.sim.command("jam")
    held = bench.sim.truth().output_deg
    bench.run(0.05)
    assert bench.sim.truth().output_deg == held
    assert bench.until(lambda: bench.telemetry["state"] == "faulted", 1.0)
    bench.sim.command("free")
    assert bench.ask("reset") == ["ok"]
    bench.arm()
    assert bench.ask("turn", 51, bench.after(0.2), round(10.0 * bench.per_deg * FINE), 0) == ["ok"]
    bench.run(0.5)
    assert bench.sim.truth().output_deg > held


def test_load_takes_more_torque_until_it_is_taken_off(bench):
    before = bench.sim.truth().output_nm
    bench.sim.command("load 2.5")
    bench.run(0.5)
    assert bench.sim.truth().output_nm == pytest.approx(before + 2.5, abs=0.4)
    bench.sim.command("load 0")
    bench.run(0.5)
    assert bench.sim.truth().output_nm == pytest.approx(before, abs=0.4)


def test_supply_is_what_the_firmware_measures(bench):
    bench.sim.command("supply 10.5")
    bench.run(0.1)
    assert bench.telemetry["supply"] == pytest.approx(10_500, abs=60)


def test_unplug_loses_what_is_sent_both_ways_for_its_time_and_the_firmware_lives_on(bench):
    told, beats = bench.telemetry["t"], bench.sent_ids
    bench.sim.command("unplug 0.4")
    assert bench.sim.unplugged
    bench.silent = True
    bench.send("rate", 20)
    bench.run(0.3)
    assert bench.telemetry["t"] == told
    assert beats + 1 not in bench.replies
    assert bench.until(lambda: not bench.sim.unplugged, 0.2)
    bench.run(0.5)
    assert bench.telemetry["fault"] == "host-silent"
    assert bench.telemetry["homed"] == 1


def finds_its_settings_again(bench):
    bench.run(0.1)
    held = bench.ask("settings")[1]
    bench.sim.command("reset")
    return bench.hello()[-2] == held


def test_a_reset_board_finds_the_settings_that_it_had(bench):
    bench.raw("stop 0 1")
    assert finds_its_settings_again(bench)


@micropython
def test_and_so_does_one_on_the_other_interpreter():
    bench = Bench(micropython=True)
    try:
        assert finds_its_settings_again(bench)
    finally:
        bench.sim.close()


def test_reset_is_a_new_boot_of_the_same_board_with_a_new_count(bench):
    words = bench.hello("00000001")
    bench.sim.command("reset")
    bench.run(0.1)
    again = bench.hello("00000002")
    assert again[4] == words[4], "the board is the same"
    assert again[5] != words[5], "the boot is another"
    assert (again[6], again[7], again[8]) == ("0", "0", "none")
    assert 0 <= bench.state[tick.COUNT] < 100, "what it has coasted since"


def test_dropped_edges_are_lost_to_the_firmware_and_not_to_the_truth(bench):
    body = bench.sim.mechanics
    assert body.counts == body.truth().motor_counts
    bench.sim.command("drop-edges 0.1")
    before = body.truth().motor_counts
    bench.run(1.5)
    passed = body.truth().motor_counts - before
    lost = body.truth().motor_counts - body.counts
    assert 0.04 * passed < lost < 0.2 * passed
    bench.sim.command("drop-edges 0")
    bench.run(0.3)
    assert body.truth().motor_counts - body.counts == lost


def test_a_weight_is_hung_on_and_taken_off(bench):
    bench.sim.command("weight 0.5")
    assert bench.sim.mechanics.hung_nm == 0.5
    bench.sim.command("weight 0")
    assert bench.sim.mechanics.hung_nm == 0.0
    with pytest.raises(PlantError, match="weight: must be a number from 0 up, got '-1'"):
        bench.sim.command("weight -1")


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "unknown command ''. Give one of: jam: hold the output"),
        ("dance", "unknown command 'dance'"),
        ("jam 3", "jam: takes no value, got 1. Write jam"),
        ("load", "load: takes 1 value, got 0. Write load NM"),
        ("load 1 2", "load: takes 1 value, got 2"),
        ("load heavy", "load: must be a number from 0 up, got 'heavy'"),
        ("load -1", "load: must be a number from 0 up, got '-1'"),
        ("supply nan", "supply: must be a number from 0 up, got 'nan'"),
        ("unplug inf", "unplug: must be a number from 0 up, got 'inf'"),
        ("drop-edges 1.5", "drop-edges: must be at most 1, got 1.5. It is a probability."),
    ],
)
def test_a_command_that_makes_no_sense_says_what_would_and_does_nothing(text, says):
    servo = SimulatedServo(VENT)
    with pytest.raises(PlantError) as refused:
        servo.command(text)
    assert says in str(refused.value)
    body = servo.mechanics
    assert (body.extra_load_nm, body.supply_open_v, body.drop_share, servo.unplugged) == (0.0, 12.0, 0.0, False)


def test_every_command_names_itself_and_its_value():
    assert all(text.startswith(name) and ": " in text for name, text in COMMANDS.items())


def told(seed: int, plant=None) -> str:
    """The truth file of a homing, with the bytes that the host got."""
    file = io.StringIO()
    bench = Bench(plant or plant_with(disc={"phase_error_deg": 20.0}), seed=seed)
    bench.sim.on_truth = TruthFile(file).write
    bench.ready()
    return file.getvalue() + b"".join(bench.heard).decode()


def test_the_truth_file_has_the_fields_of_the_truth_a_hundred_times_a_second():
    file = io.StringIO()
    bench = Bench(rigid())
    bench.sim.on_truth = TruthFile(file).write
    began = bench.sim.truth().t_s
    turning(bench.ready())
    rows = list(csv.DictReader(io.StringIO(file.getvalue())))
    assert list(rows[0]) == [field.name for field in fields(Truth)]
    times = [float(row["t_s"]) for row in rows]
    assert all(later - earlier == pytest.approx(0.01, abs=1e-6) for earlier, later in pairwise(times))
    assert len(rows) == pytest.approx((bench.sim.truth().t_s - began) * 100, abs=1)
    for row in rows:
        assert float(row["output_deg"]) * bench.per_deg == pytest.approx(
            float(row["motor_counts"]) + bench.sim.plant.start_deg * bench.per_deg, abs=1.01
        )


def test_the_same_seed_is_the_same_truth_and_another_is_another():
    third = told(3)
    assert told(3) == third
    assert told(4) != third
