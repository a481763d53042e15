"""Procedures on simulated machines: a seeded part of tests/benchmarks/bench.py, and what an interruption leaves behind."""

from __future__ import annotations

import asyncio

import pytest

from geartender.bench.execute import execute
from geartender.bench.listing import PROCEDURES
from geartender.bench.models import BenchState
from geartender.bench.procedures.first_power import first_power
from geartender.bench.procedures.measure import measure
from geartender.bench.procedures.thresholds import thresholds
from geartender.bench.procedures.tune import tune
from geartender.bench.session import Session, SessionOver
from geartender.build.measured import NOTHING, Found, Measured, Tuning, as_built
from geartender.servo.settings import firmware_settings
from geartender.simulator.device import SimulatedServo
from geartender.world import World
from geartender.world.virtual import run_virtual
from tests.bench.judge import Kept, judge
from tests.bench.kit import at_bench
from tests.bench.mistakes import MISTAKES, Mistake, planted
from tests.bench.plants import machine
from tests.bench.tuning import true_ms
from tests.servo.rig import ANNA, Rig, direct, running


@pytest.mark.slow
@pytest.mark.parametrize("seed", [0, 1, 2])
def test_a_machine_is_found_as_it_was_built(seed: int) -> None:
    sheet, plant = machine(seed, swapped=seed == 1)
    kept = Kept()
    bench = at_bench(measure, sheet, plant, seed, truth=kept)
    assert bench.measured is not None, bench.report.reason
    judged = judge(bench, sheet, plant, bench.measured)
    assert all(judged.within.values()), judged.off
    assert kept.broken == []


@pytest.mark.slow
@pytest.mark.parametrize("mistake", MISTAKES, ids=lambda one: one.name)
def test_a_planted_mistake_is_named(mistake: Mistake) -> None:
    sheet, plant, drop = planted(mistake, 3)
    bench = at_bench(first_power, sheet, plant, 3, drop=drop)
    assert bench.report.wrong is not None, bench.report.reason
    assert bench.report.wrong.kind == mistake.name
    assert bench.report.wrong.cure


@pytest.mark.slow
def test_a_sound_machine_goes_through_first_power_tuning_and_thresholds() -> None:
    sheet, plant = machine(0)
    kept = Kept()
    bench = at_bench(first_power, sheet, plant, 0, truth=kept)
    assert (bench.report.state, bench.report.wrong) == (BenchState.DONE, None)
    assert [step.id for step in bench.report.steps] == ["supply", "sensors", "nudge", "home", "travel", "counts"]
    assert tuple(step.title for step in bench.report.steps) == PROCEDURES["first-power"].steps
    assert kept.broken == []
    tuned = at_bench(tune, sheet, plant, 0)
    assert tuned.measured is not None, tuned.report.reason
    if tuned.measured.tuning is not None:
        assert true_ms(plant, tuned.measured.tuning) <= 1.7
    bounded = at_bench(thresholds, sheet, plant, 0)
    assert bounded.measured is not None
    assert bounded.measured.torque_map
    overload = bounded.measured.value("overload_nm")
    assert overload is not None
    assert max(row["up_nm"] for row in bounded.measured.torque_map) < overload


@pytest.mark.parametrize("after_s", [0.2, 3.0, 9.0])
@pytest.mark.parametrize("how", ["stop", "lost", "cancelled"])
def test_an_interruption_leaves_it_disarmed_with_its_own_settings_and_values(how: str, after_s: float) -> None:
    async def main(world: World) -> None:
        sheet = direct()
        sim = SimulatedServo(sheet, None, 1)
        rig = Rig(world, sim, sheet)
        async with running(rig.servo):
            await rig.connected()
            session = Session("b1", "measure", rig.servo, world, ANNA, auto=True)
            rig.servo.claim(session, ANNA, armed=False)
            work = asyncio.create_task(execute(session, measure))
            await asyncio.sleep(after_s)
            if how == "stop":
                rig.servo.stop(ANNA, 0)
            elif how == "lost":
                sim.command("unplug 2")
            else:
                work.cancel()
            if how == "cancelled":
                with pytest.raises(asyncio.CancelledError):
                    await work
            else:
                ended = await work
                assert ended.state in (BenchState.STOPPED, BenchState.FAULTED)
                assert ended.measured is None
            rig.servo.release(session)
            await rig.connected()
            await rig.until(lambda: not rig.servo.live.armed, 3.0)
            await rig.until(lambda: sim.truth().duty == 0.0, 3.0)
            assert rig.servo.measured == NOTHING
            await rig.armed()
            await rig.servo.disarm(ANNA)
            if how != "cancelled":  # a service that ends leaves the rest to its next greeting
                settings = sim._board.core.settings  # type: ignore[union-attr]
                assert {name: settings.get(name) for name in rig.servo.settings} == dict(rig.servo.settings)

    run_virtual(main, 1)


def test_beyond_what_was_announced_it_stops_by_itself() -> None:
    from geartender.bench.hands import Hands
    from geartender.bench.models import Announcement

    async def farther(session: Session) -> None:
        hands = Hands(session)
        session.step("far", "Far")
        said = Announcement(text="A little.", moves_deg=1.0, speed_deg_s=5.0, torque_nm=3.0, time_s=5.0)
        async with hands.within(said):
            await hands.ready()
            await hands.speed(5.0, 4.0)

    sheet, plant = machine(0)
    bench = at_bench(farther, sheet, plant, 0)
    assert bench.report.state is BenchState.STOPPED
    assert "farther than was announced" in (bench.report.reason or "")
    assert bench.report.steps[0].moved_deg < 3.0


def test_measured_values_take_the_place_of_the_sheets() -> None:
    sheet = direct()
    values = {
        "ke_v_s": Found(value=0.03, uncertainty=0.0),
        "winding_ohm": Found(value=8.0, uncertainty=0.0),
        "friction_nm": Found(value=0.002, uncertainty=0.0),
        "backlash_deg": Found(value=0.7, uncertainty=0.0),
        "supply_ohm": Found(value=0.2, uncertainty=0.0),
    }
    built = as_built(sheet, Measured(values=values))
    from geartender.build.motor import motor_constants
    from geartender.build.train import backlash_deg

    assert motor_constants(built.motor).kt_nm_per_a == pytest.approx(0.03)
    assert motor_constants(built.motor).resistance_ohm == 8.0
    assert backlash_deg(built.mesh) == pytest.approx(0.7)
    assert built.supply.resistance_ohm == 0.2
    assert as_built(sheet, NOTHING) is sheet
    tuning = Tuning(kp_v_per_count=0.5, ki_v_per_count_s=2.0, damping=1.0)
    settings = firmware_settings(built, tuning)
    assert settings["damping"] == 256
    assert settings["kp_num"] / 2 ** settings["kp_shift"] == pytest.approx(0.5 * 1000 / 256, rel=1e-3)


def test_a_session_that_has_ended_is_not_ended_again() -> None:
    over = SessionOver(BenchState.STOPPED, "twice")
    sheet, plant = machine(0)

    async def nothing(session: Session) -> None:
        session.step("one", "One")

    bench = at_bench(nothing, sheet, plant, 0)
    bench.session.end(over)
    assert bench.report.state is BenchState.DONE
