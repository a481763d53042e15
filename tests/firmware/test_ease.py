"""An overload that is eased: the lever is held up, the plan waits, and it goes on by itself within its limits."""

import pytest

from geartender.firmware import tick
from tests.firmware.kit import FINE, Bench, sheet_with
from tests.firmware.plants import MACHINES

TARGET_DEG = 70.0
WINDOW_S = 0.1


def eased(name: str, **tables) -> Bench:
    """A machine that eases an overload, homed; the heavy lever would not stay up without being held."""
    machine = MACHINES[name]
    tables = {"overload": {**machine.sheet.overload.model_dump(), "action": "ease"}, **tables}
    return Bench(machine.plant, sheet_with(machine.sheet, **tables)).ready()


def hold_up(bench: Bench, share: float = 2.0) -> None:
    """Let friction of so many times the limit resist."""
    assert bench.sheet.overload.torque_nm is not None
    bench.sim.command(f"load {share * bench.sheet.overload.torque_nm}")


def quickest_deg_s(bench: Bench, seconds: float) -> float:
    """Run; give the highest mean speed of the motor over any window, at the output."""
    before, quickest = bench.telemetry["count"], 0.0
    for _ in range(round(seconds / WINDOW_S)):
        bench.run(WINDOW_S)
        quickest = max(quickest, abs(bench.telemetry["count"] - before) / WINDOW_S / bench.per_deg)
        before = bench.telemetry["count"]
    return quickest


def limit_deg_s(bench: Bench) -> float:
    assert bench.sheet.limits is not None
    return bench.sheet.limits.speed_deg_s


@pytest.mark.parametrize("held_s", [0.5, 12.0])
@pytest.mark.parametrize("name", MACHINES)
def test_the_plan_waits_for_a_lever_that_is_held_up_and_goes_on_within_its_limits(name, held_s):
    bench = eased(name)
    bench.queue(2, bench.path(TARGET_DEG), bench.after(0.1))
    bench.run(1.2)
    hold_up(bench)
    bench.run(held_s)
    assert (bench.telemetry["fault"], bench.telemetry["motion"], bench.telemetry["eased"]) == ("none", 2, 1)
    held_at = bench.angle_deg
    assert held_at < TARGET_DEG - 10
    bench.sim.command("load 0")
    assert quickest_deg_s(bench, 1.0) < limit_deg_s(bench) * 1.08
    assert bench.telemetry["eased"] == 2
    assert quickest_deg_s(bench, 6.0) < limit_deg_s(bench) * 1.08
    assert (bench.telemetry["ended"], bench.telemetry["how"], bench.telemetry["eased"]) == (2, "done", 0)
    assert bench.angle_deg == pytest.approx(TARGET_DEG, abs=1.5 / bench.per_deg)


@pytest.mark.parametrize("name", MACHINES)
def test_a_load_that_grows_slowly_gets_no_more_than_the_teeth_bear(name):
    bench = eased(name)
    bench.queue(2, bench.path(TARGET_DEG, speed_deg_s=10.0), bench.after(0.1))
    bench.run(0.8)
    most = 0.0
    for part in range(100):
        hold_up(bench, 2.0 * part / 100)
        bench.run(0.03)
        most = max(most, abs(bench.sim.truth().output_nm))
    assert bench.telemetry["eased"] == 1
    assert most < 1.1 * MACHINES[name].limit_nm


def test_a_motion_of_its_own_speed_goes_on_no_faster():
    bench = eased("light")
    slow = bench.path(TARGET_DEG)
    bench.queue(2, slow, bench.after(0.1))
    bench.run(0.8)
    hold_up(bench)
    bench.run(0.5)
    assert bench.telemetry["eased"] == 1
    assert bench.queue(3, bench.path(20.0, speed_deg_s=5.0), bench.after(0.1)) == ["ok"]
    bench.sim.command("load 0")
    assert quickest_deg_s(bench, 8.0) < 5.5
    assert (bench.telemetry["ended"], bench.telemetry["how"]) == (3, "done")
    assert bench.angle_deg == pytest.approx(20.0, abs=1.5 / bench.per_deg)


@pytest.mark.parametrize("category", [1, 2])
def test_a_stop_while_it_is_held_up_ends_the_motion_and_presses_no_longer(category):
    bench = eased("light")
    bench.queue(2, bench.path(TARGET_DEG), bench.after(0.1))
    bench.run(0.8)
    hold_up(bench)
    bench.run(1.0)
    bench.raw(f"stop {category} 1")
    bench.run(0.5)
    assert (bench.telemetry["ended"], bench.telemetry["how"], bench.telemetry["eased"]) == (2, "stopped", 0)
    assert bench.telemetry["current"] == 0
    stopped_at = bench.angle_deg
    bench.sim.command("load 0")
    bench.run(2.0)
    assert bench.angle_deg == pytest.approx(stopped_at, abs=1.0)


def test_a_turn_waits_too_and_its_time_runs_on():
    bench = eased("light")
    speed = round(10.0 * bench.per_deg * FINE)
    bench.ask("turn", 2, bench.after(0.2), speed, 3_000_000)
    bench.run(0.8)
    hold_up(bench)
    bench.run(1.0)
    assert (bench.telemetry["state"], bench.telemetry["eased"]) == ("turning", 1)
    bench.sim.command("load 0")
    assert quickest_deg_s(bench, 0.8) < 11.5
    hold_up(bench)
    bench.run(1.5)
    assert (bench.telemetry["ended"], bench.telemetry["how"], bench.telemetry["eased"]) == (2, "done", 0)


def test_a_lever_that_is_held_gives_way_and_comes_back():
    bench = eased("heavy", rest={"after_move": "hold", "approach": "shortest"})
    bench.move(2, 30.0)
    bench.sim.command("push -28.8")
    bench.run(0.6)
    assert (bench.telemetry["state"], bench.telemetry["fault"], bench.telemetry["eased"]) == ("ready", "none", 1)
    assert bench.angle_deg < 28.0
    bench.sim.command("push 0")
    assert quickest_deg_s(bench, 3.0) < limit_deg_s(bench) * 1.08
    assert (bench.telemetry["state"], bench.telemetry["eased"]) == ("ready", 0)
    assert bench.angle_deg == pytest.approx(30.0, abs=1.5 / bench.per_deg)


def test_a_lever_that_the_pulse_leads_waits_too():
    bench = eased("light", pulse={"enabled": True})
    bench.sim.command("pulse 1500")
    bench.ask("lead", 1, bench.after(0.2))
    bench.run(4.0)
    bench.sim.command("pulse 2000")
    bench.run(0.7)
    hold_up(bench)
    bench.run(2.0)
    assert (bench.telemetry["fault"], bench.telemetry["eased"]) == ("none", 1)
    bench.sim.command("pulse 1800")
    bench.run(0.5)
    bench.sim.command("load 0")
    assert quickest_deg_s(bench, 4.0) < limit_deg_s(bench) * 1.08
    assert bench.telemetry["state"] == "ready"
    wanted = bench.state[tick.AIM]
    assert abs(bench.state[tick.COUNT] - wanted) <= 1


def test_without_easing_the_same_load_is_an_overload():
    bench = Bench(MACHINES["light"].plant, MACHINES["light"].sheet).ready()
    bench.queue(2, bench.path(TARGET_DEG), bench.after(0.1))
    bench.run(0.8)
    hold_up(bench)
    bench.run(1.0)
    assert (bench.telemetry["state"], bench.telemetry["eased"]) == ("faulted", 0)
