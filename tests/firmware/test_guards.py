"""Every cause of a fault stop, provoked in the mechanics and told apart."""

import pytest

from geartender.firmware import tick
from tests.firmware.kit import FINE, Bench, plant_with, rigid, sheet_with


def turning(bench: Bench, speed_deg_s: float = 15.0) -> Bench:
    """Under way at a held speed."""
    assert bench.ask("turn", 50, bench.after(0.2), round(speed_deg_s * bench.per_deg * FINE), 0) == ["ok"]
    bench.run(1.2)
    assert bench.telemetry["state"] == "turning"
    return bench


def fault_of(bench: Bench, seconds: float = 10.0) -> str:
    """The fault that comes."""
    assert bench.until(lambda: bench.telemetry["fault"] != "none", seconds), bench.telemetry
    return str(bench.telemetry["fault"])


@pytest.mark.parametrize("plant_of", [rigid, plant_with])
def test_a_jam_at_full_speed_is_an_overload_within_the_sheets_time(plant_of):
    bench = turning(Bench(plant_of(load={"gravity_nm": 0.0})).ready(), 20.0)
    bench.sim.command("jam")
    began = bench.ticks
    assert fault_of(bench) in ("overload", "stalled")
    # the load is seen through a filter of a few ticks on top of the sheet's 120 ms
    assert (bench.ticks - began) * 2 <= 120 + 60
    assert bench.until(lambda: bench.telemetry["state"] == "faulted", 0.15), "braked no longer than it takes"
    assert bench.telemetry["duty"] == 0
    bench.run(0.5)
    assert bench.telemetry["state"] == "faulted"


def test_nothing_moves_after_a_fault_before_reset_and_arm():
    bench = turning(Bench().ready())
    bench.sim.command("jam")
    assert bench.until(lambda: bench.telemetry["state"] == "faulted", 1.0)
    bench.sim.command("free")
    where = bench.sim.truth().output_deg
    assert bench.ask("turn", 51, bench.after(0.2), 65536, 0)[:2] == ["no", "fault"]
    assert bench.ask("arm", bench.after(0.2))[:2] == ["no", "fault"]
    assert bench.ask("reset") == ["ok"]
    assert bench.ask("turn", 51, bench.after(0.2), 65536, 0) == ["no", "disarmed"]
    bench.run(1.0)
    assert bench.sim.truth().output_deg == where
    bench.arm()
    assert bench.home(60)["how"] == "done"


def test_a_lever_that_cannot_start_is_stalled():
    sheet = sheet_with(overload={"torque_nm": 30.0}, limits={"torque_nm": 30.0}, bridge={"current_limit_a": 1.0})
    bench = Bench(rigid(sheet), sheet).ready()
    bench.sim.command("jam")
    assert bench.queue(2, bench.path(40.0), bench.after(0.1)) == ["ok"]
    assert fault_of(bench) == "stalled"


@pytest.mark.parametrize("settings", [{"polarity": -1}])
def test_a_motor_wired_the_wrong_way_round_is_named(settings):
    bench = Bench(settings=settings)
    bench.arm()
    bench.ask("turn", 2, bench.after(0.2), round(10.0 * bench.per_deg * FINE), 0)
    assert fault_of(bench) == "wrong-direction"


def test_lost_edges_are_found_at_the_home_mark():
    sheet = sheet_with(travel={"min_deg": -20.0}, home={"angle_deg": 10.0})
    bench = Bench(rigid(sheet, home={"angle_deg": 10.0}), sheet).ready()
    assert bench.move(2, 40.0)["how"] == "done"
    assert bench.telemetry["marks"] == 0
    assert bench.move(3, 0.0)["how"] == "done"
    assert bench.telemetry["marks"] == 1
    bench.move(4, 40.0)
    bench.sim.command("drop-edges 0.03")
    # slowly, where a blow would do no harm: at speed, edges that are lost one after the other look like a jam
    assert bench.ask("turn", 5, bench.after(0.2), round(-5.0 * bench.per_deg * FINE), 0) == ["ok"]
    assert fault_of(bench) == "sensor-error"
    assert bench.telemetry["homed"] == 0


def test_illegal_transitions_are_a_sensor_error():
    bench = turning(Bench().ready())
    bench.state[tick.ILLEGAL_IN] = bench.settings["illegal_max"]
    assert fault_of(bench) == "sensor-error"


def test_a_load_that_slows_it_below_the_plan_is_a_following_error():
    sheet = sheet_with(overload={"torque_nm": 30.0}, limits={"torque_nm": 30.0}, bridge={"current_limit_a": 10.0})
    bench = turning(Bench(rigid(sheet), sheet, settings={"stall_ma": 30000, "overload_ma": 30000}).ready(), 20.0)
    bench.sim.command("load 9")
    assert fault_of(bench) == "following-error"


def test_a_turn_that_runs_out_of_the_travel_is_stopped():
    bench = Bench(rigid(stops=None)).ready()
    bench.move(2, 70.0)
    bench.ask("turn", 3, bench.after(0.2), round(10.0 * bench.per_deg * FINE), 0)
    assert fault_of(bench) == "travel"
    bench.run(1.0)
    assert bench.sim.truth().output_deg < 75.0 + 2.0 + 3.0
    bench.ask("reset")
    bench.arm()
    assert bench.ask("turn", 4, bench.after(0.2), round(-5.0 * bench.per_deg * FINE), 1_000_000) == ["ok"]
    assert bench.until(lambda: bench.telemetry["ended"] == 4)
    assert bench.telemetry["how"] == "done", "the way back is free"


def test_a_silent_host_ends_a_motion_by_a_ramp():
    bench = turning(Bench().ready(), 20.0)
    bench.silent = True
    began = bench.ticks
    assert fault_of(bench) == "host-silent"
    assert (bench.ticks - began) * 2 <= 250 + 82
    assert bench.telemetry["state"] == "stopping"
    assert bench.until(lambda: bench.telemetry["state"] == "faulted", 1.0)
    bench.run(0.2)
    assert bench.sim.truth().output_deg_s == 0.0
    bench.silent = False
    assert bench.hello("33333333")[8] == "host-silent"
    bench.run(0.1)
    assert bench.telemetry["state"] == "disarmed", "the silence is over; nothing is left to reset"


def test_a_silent_host_disarms_a_servo_at_rest_without_a_fault():
    bench = Bench().ready()
    bench.silent = True
    bench.run(0.4)
    assert (bench.telemetry["state"], bench.telemetry["fault"]) == ("disarmed", "none")


def test_a_low_supply_ends_a_motion():
    bench = turning(Bench().ready(), 10.0)
    bench.sim.command("supply 8.5")
    assert fault_of(bench, 0.5) == "supply-low"
    assert bench.until(lambda: bench.telemetry["state"] == "faulted", 1.0)


def test_a_hot_winding_ends_a_motion():
    bench = Bench(settings={"heat_num": 300_000, "heat_tau_s": 1, "winding_max": 305}).ready()
    for motion in range(2, 60):
        bench.queue(motion, bench.path(70.0 if motion % 2 == 0 else 5.0), bench.after(0.1))
        if bench.until(lambda: bench.telemetry["fault"] != "none", 4.0):
            break
    assert bench.telemetry["fault"] == "too-hot"
    assert bench.telemetry["winding"] > 305


def test_eased_overload_goes_on_at_the_torque_allowed():
    sheet = sheet_with(
        overload={"action": "ease", "torque_nm": 3.0, "for_ms": 100.0},
        load={"gravity_nm": 0.0},
        limits={"torque_nm": 3.0},
    )
    bench = turning(Bench(rigid(sheet), sheet).ready(), 10.0)
    bench.sim.command("load 2.9")
    bench.run(1.0)
    assert bench.telemetry["fault"] == "none"
    assert bench.sim.truth().output_nm < 3.0 * 1.1


@pytest.mark.parametrize("seed", range(20))
def test_ordinary_moves_trip_nothing(seed):
    bench = Bench(plant_with(disc={"phase_error_deg": 20.0}), seed=seed).ready()
    for motion, target in enumerate((60.0, 58.0, 3.0, 74.0, 0.0), 2):
        assert bench.move(motion, target)["how"] == "done", bench.telemetry
