"""Homing: the same edge from everywhere, and what happens when there is none."""

import random

import pytest

from tests.firmware.kit import VENT, Bench, plant_with, rigid, sheet_with


def homed_off(start_deg: float, plant_of=rigid, sheet=VENT) -> float:
    """Homing from an angle: how far the truth is from the angle believed, in counts."""
    bench = Bench(plant_of(sheet, start_deg=start_deg), sheet)
    bench.arm()
    assert bench.home()["how"] == "done", (start_deg, bench.telemetry)
    bench.run(0.3)
    return bench.off_counts


@pytest.mark.parametrize("plant_of", [rigid, plant_with])
def test_it_finds_the_same_edge_from_fifty_places(plant_of):
    dice = random.Random(3)
    offs = [homed_off(dice.uniform(-3.9, 78.9), plant_of) for _ in range(50)]
    assert max(offs) - min(offs) <= 1.0


def test_seeking_up_finds_the_lower_edge_of_a_mark_at_the_upper_end():
    sheet = sheet_with(home={"seek": "up", "angle_deg": 75.0})
    assert abs(homed_off(20.0, rigid, sheet)) <= 1.0
    assert abs(homed_off(78.0, rigid, sheet)) <= 1.0


def test_a_missing_mark_is_named_after_the_travel_and_a_bit():
    bench = Bench(rigid(home={"width_deg": 0.0}, stops=None))
    bench.arm()
    began = bench.sim.truth().output_deg
    assert bench.home()["fault"] == "home-not-found"
    bench.run(1.0)
    assert bench.telemetry["state"] == "faulted"
    assert abs(bench.sim.truth().output_deg - began) < 75.0 * 1.1 + 10.0 + 5.0


def test_a_missing_mark_between_stops_is_named_too():
    bench = Bench(rigid(home={"width_deg": 0.0}))
    bench.arm()
    assert bench.home()["fault"] == "home-not-found"


def test_a_stop_ends_homing_and_leaves_it_unhomed():
    bench = Bench()
    bench.arm()
    bench.ask("home", 1, bench.after(0.2))
    bench.run(0.5)
    assert bench.telemetry["state"] == "homing"
    bench.raw("stop 1 1")
    assert bench.until(lambda: bench.telemetry["state"] == "disarmed", 2.0)
    bench.run(1.0)
    assert (bench.telemetry["ended"], bench.telemetry["how"], bench.telemetry["homed"]) == (1, "stopped", 0)


def test_the_position_stays_known_while_only_the_host_comes_and_goes():
    bench = Bench().ready()
    bench.move(2, 30.0)
    bench.hello("11111111")
    bench.give_settings()
    bench.ask("rate", 10)
    bench.arm()
    assert bench.move(3, 50.0)["how"] == "done"
    bench.run(0.1)
    assert abs(bench.off_counts) <= 1.0


def test_a_reset_forgets_the_position():
    bench = Bench().ready()
    bench.sim.command("reset")
    bench.run(0.05)
    assert bench.hello("22222222")[6] == "0"
