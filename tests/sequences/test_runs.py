"""Runs: what they do, how long they take, and who or what ends them."""

import asyncio
from pathlib import Path

import pytest

from geartender.errors import Busy, Disarmed, HelmHeld, NotHomed, NotStored, OutsideTravel, Unknown
from geartender.servo.requests import MoveRequest
from tests.benchmarks.runs import run_steps
from tests.sequences.kit import CLOCK, House, in_house
from tests.servo.rig import ANNA, BERT, direct

AIR = [{"do": "move", "to_deg": 30}, {"do": "wait", "for_s": 5}, {"do": "move", "to_deg": 5, "speed_deg_s": 8}]


def test_a_run_does_its_steps_in_the_time_that_was_said() -> None:
    async def scenario(house: House) -> None:
        await house.homed()
        await house.put("air", AIR)
        report = await house.done("air")
        assert (report.state, report.reason) == ("done", None)
        assert [step.do for step in report.steps] == ["move", "wait", "move"]
        assert [step.state for step in report.steps] == ["done"] * 3
        assert report.actual_s == pytest.approx(report.planned_s, rel=0.01)
        for step in report.steps:
            assert step.actual_s == pytest.approx(step.planned_s, rel=0.01)
        assert house.sim.truth().output_deg == pytest.approx(5, abs=0.05)
        assert house.servo.snapshot().run is None
        assert house.servo.snapshot().helm is None

    in_house(scenario)


def test_while_it_runs_the_servo_shows_it_and_only_force_takes_the_helm() -> None:
    async def scenario(house: House) -> None:
        await house.homed()
        await house.put("air", AIR)
        run = await house.start("air")
        await asyncio.sleep(3.5)
        assert house.servo.snapshot().run == run.id
        with pytest.raises(HelmHeld, match="air, started by Anna"):
            await house.servo.move(BERT, MoveRequest(to_deg=1))
        with pytest.raises(Busy):
            await house.start("air", ANNA)
        house.servo.take_helm(BERT, force=True)
        await run.ended()
        assert (run.state, run.reason) == ("stopped", "Bert took the helm")
        await house.servo.move(BERT, MoveRequest(to_deg=1))

    in_house(scenario)


@pytest.mark.parametrize(("at_s", "category"), [(0.5, 0), (0.5, 1), (0.5, 2), (4.0, 1)])
def test_a_persons_stop_ends_a_run_at_once_while_it_moves_and_while_it_waits(at_s: float, category: int) -> None:
    async def scenario(house: House) -> None:
        await house.homed()
        await house.put("air", AIR)
        run = await house.start("air")
        await asyncio.sleep(at_s)
        house.servo.stop(BERT, category)
        await run.ended()
        report = await house.runs.report(run.id)
        assert (report.state, report.reason) == ("stopped", "stopped by Bert")
        assert report.steps[-1].state == "stopped"
        stood = house.sim.truth().output_deg
        await asyncio.sleep(5)
        assert house.sim.truth().output_deg == pytest.approx(stood, abs=1.5)

    in_house(scenario)


def test_disarming_ends_a_run() -> None:
    async def scenario(house: House) -> None:
        await house.homed()
        await house.put("air", AIR)
        run = await house.start("air")
        await asyncio.sleep(4)
        await house.servo.disarm(BERT)
        await run.ended()
        assert (run.state, run.reason) == ("stopped", "disarmed by Bert")

    in_house(scenario)


@pytest.mark.parametrize("at_s", [0.6, 4.0])
def test_a_held_run_goes_on_where_it_was(at_s: float) -> None:
    async def scenario(house: House) -> None:
        await house.homed()
        await house.put("air", AIR)
        run = await house.start("air")
        await asyncio.sleep(at_s)
        report = await house.runs.hold(run.id, BERT)
        assert report.state == "held"
        await asyncio.sleep(2)
        stood = house.sim.truth().output_deg
        assert house.servo.snapshot().state == "ready"
        with pytest.raises(Busy):
            await house.runs.hold(run.id, BERT)
        await asyncio.sleep(65)
        assert house.sim.truth().output_deg == pytest.approx(stood, abs=0.01)
        assert house.servo.snapshot().run == run.id
        await house.runs.resume(run.id, BERT)
        await run.ended()
        report = await house.runs.report(run.id)
        assert report.state == "done"
        assert report.held_s == pytest.approx(67, abs=0.1)
        assert house.sim.truth().output_deg == pytest.approx(5, abs=0.05)
        assert [step.do for step in report.steps] == ["move", "wait", "move"]

    in_house(scenario)


def test_a_held_turn_goes_on_for_the_rest_of_its_turns_and_of_its_time() -> None:
    async def scenario(house: House) -> None:
        await house.homed()
        await house.put("turns", [{"do": "turn", "speed_deg_s": 10, "turns": 0.1}])
        await house.put("time", [{"do": "turn", "speed_deg_s": -5, "for_s": 4}])
        for name, end in (("turns", 36.0), ("time", 16.0)):
            run = await house.start(name)
            await asyncio.sleep(1.5)
            await house.runs.hold(run.id, BERT)
            await asyncio.sleep(3)
            await house.runs.resume(run.id, BERT)
            await run.ended()
            assert run.state == "done", run.reason
            assert house.sim.truth().output_deg == pytest.approx(end, abs=0.1 if name == "turns" else 3)

    in_house(scenario)


def test_stopping_a_run_leaves_the_servo_ready() -> None:
    async def scenario(house: House) -> None:
        await house.homed()
        await house.put("air", AIR)
        run = await house.start("air")
        await asyncio.sleep(1)
        await house.runs.stop(run.id, BERT)
        await run.ended()
        assert (run.state, run.reason) == ("stopped", "stopped by Bert")
        await house.until(lambda: house.servo.snapshot().state == "ready")
        assert (await house.runs.stop(run.id, BERT)).state == "stopped"

    in_house(scenario)


def test_a_fault_ends_a_run_as_faulted_and_nothing_is_reset() -> None:
    async def scenario(house: House) -> None:
        await house.homed()
        await house.put("air", AIR)
        run = await house.start("air")
        await asyncio.sleep(1)
        house.sim.command("jam")
        await run.ended()
        report = await house.runs.report(run.id)
        assert report.state == "faulted"
        assert report.steps[-1].state == "faulted"
        assert report.reason == house.servo.snapshot().fault.text
        assert house.servo.snapshot().state == "faulted"

    in_house(scenario)


def test_a_lost_cable_ends_a_run() -> None:
    async def scenario(house: House) -> None:
        await house.homed()
        await house.put("air", AIR)
        run = await house.start("air")
        await asyncio.sleep(4)
        house.sim.command("unplug 2")
        await run.ended()
        assert run.state == "faulted"
        assert "link was lost" in run.reason

    in_house(scenario)


def test_a_check_stops_skips_or_runs_another() -> None:
    async def scenario(house: House) -> None:
        await house.homed()
        await house.put("tidy", [{"do": "move", "to_deg": 2}])
        for otherwise, state, end in (("stop", "stopped", 20), ("skip", "done", 20), ({"run": "tidy"}, "done", 40)):
            name = "test-" + (otherwise if isinstance(otherwise, str) else "run")
            await house.put(
                name,
                [
                    {"do": "move", "to_deg": 20},
                    {"do": "check", "angle_within_deg": 1},
                    {"do": "check", "torque_below_nm": 0.01, "otherwise": otherwise},
                    {"do": "move", "to_deg": 40},
                ],
            )
            await house.done("tidy")  # a move that does not go anywhere takes no torque
            report = await house.done(name)
            assert report.state == state, report.reason
            assert house.sim.truth().output_deg == pytest.approx(end, abs=0.05)
            assert report.steps[2].state == "failed"
            assert "the torque went up to" in report.steps[2].reason
        assert "steps[2]" in (await house.done("test-stop")).reason

    in_house(scenario)


def test_repeats_and_sequences_in_sequences() -> None:
    async def scenario(house: House) -> None:
        await house.homed()
        await house.put("nod", [{"do": "move", "by_deg": 3}, {"do": "move", "by_deg": -2}])
        await house.put("nods", [{"do": "repeat", "times": 3, "steps": [{"do": "run", "sequence": "nod"}]}])
        report = await house.done("nods")
        assert report.state == "done"
        assert len(report.steps) == report.steps_total == 6
        assert report.steps[0].at == "nod: steps[0]"
        assert house.servo.snapshot().angle_deg == pytest.approx(3, abs=0.1)
        assert report.actual_s == pytest.approx(report.planned_s, rel=0.01)

    in_house(scenario)


def test_what_cannot_begin_is_refused_and_nothing_moves() -> None:
    async def scenario(house: House) -> None:
        await house.connected()
        await house.put("air", AIR)
        await house.put("home-first", [{"do": "home"}, *AIR])
        await house.put("far", [{"do": "move", "to_deg": 70}, {"do": "move", "by_deg": 10}])
        with pytest.raises(Unknown, match="air"):
            await house.start("nothing")
        with pytest.raises(Disarmed):
            await house.start("air")
        await house.servo.arm(ANNA)
        with pytest.raises(NotHomed):
            await house.start("air")
        assert (await house.done("home-first")).state == "done"
        house.servo.take_helm(BERT, force=False)
        with pytest.raises(HelmHeld):
            await house.start("air")
        house.servo.give_helm(BERT)
        with pytest.raises(OutsideTravel, match=r"steps\[1\]"):
            await house.start("far")

    in_house(scenario)


def test_who_holds_the_helm_passes_it_to_the_run_that_they_start() -> None:
    async def scenario(house: House) -> None:
        await house.homed()
        await house.put("air", AIR)
        house.servo.take_helm(ANNA, force=False)
        assert (await house.done("air", ANNA)).state == "done"

    in_house(scenario)


def two() -> dict:
    return {"vent": direct(), "door": direct(limits={"speed_deg_s": 10})}


def test_together_begins_at_once_and_ends_at_once() -> None:
    async def scenario(house: House) -> None:
        await house.homed()
        steps = [{"servo": "vent", "to_deg": 40, "do": "move"}, {"servo": "door", "to_deg": 20, "do": "move"}]
        await house.put("both", [{"do": "together", "steps": steps}])
        run = await house.start("both")
        await run.ended()
        assert run.state == "done", run.reason
        vent, door = (house.servos[name].motions()[0] for name in ("vent", "door"))
        assert vent.started == pytest.approx(door.started, abs=0.002)
        assert vent.planned_s == pytest.approx(door.planned_s, abs=0.001)
        assert vent.started + vent.actual_s == pytest.approx(door.started + door.actual_s, abs=0.3)
        report = await house.runs.report(run.id)
        assert report.actual_s == pytest.approx(report.planned_s, rel=0.01)

    in_house(scenario, two())


def test_a_fault_of_one_brings_the_other_to_rest_or_lets_it_go_on_as_the_sequence_says() -> None:
    async def scenario(house: House) -> None:
        await house.homed()
        steps = [
            {
                "do": "together",
                "steps": [{"do": "move", "servo": "vent", "to_deg": 60}, {"do": "move", "servo": "door", "to_deg": 60}],
            },
            {"do": "move", "servo": "door", "to_deg": 30},
            {"do": "move", "servo": "vent", "to_deg": 10},
        ]
        await house.put("tidy", [{"do": "move", "servo": "door", "to_deg": 5}])
        for on_fault, state, end in (
            ("stop", "faulted", None),
            ("skip", "faulted", 30.0),
            ({"run": "tidy"}, "faulted", 5.0),
        ):
            name = "both-" + (on_fault if isinstance(on_fault, str) else "run")
            await house.put(name, steps, on_fault=on_fault)
            run = await house.start(name)
            await asyncio.sleep(1.5)
            house.sims["vent"].command("jam")
            await run.ended()
            assert run.state == state, run.reason
            assert "vent" in run.reason
            if end is None:
                assert house.sims["door"].truth().output_deg < 40
            else:
                assert house.sims["door"].truth().output_deg == pytest.approx(end, abs=0.05)
            house.sims["vent"].command("free")
            await house.servos["vent"].reset(ANNA)
            await house.homed()

    in_house(scenario, two())


def test_nothing_that_runs_by_itself_begins_while_nothing_can_be_kept(monkeypatch: pytest.MonkeyPatch) -> None:
    async def scenario(house: House) -> None:
        await house.homed()
        await house.put("air", AIR)

        def broken() -> None:
            raise NotStored("the disk is full")

        monkeypatch.setattr(house.store, "require_keeping", broken)
        with pytest.raises(NotStored):
            await house.start("air")
        assert house.servo.snapshot().run is None

    in_house(scenario)


def test_the_timetable_arms_and_homes_only_where_the_owner_decided_so() -> None:
    async def without(house: House) -> None:
        await house.connected()
        await house.put("air", AIR)
        with pytest.raises(Disarmed):
            await house.start("air", CLOCK)
        assert house.servo.snapshot().armed is False

    async def with_it(house: House) -> None:
        await house.connected()
        await house.put("air", AIR)
        report = await house.done("air", CLOCK)
        assert report.state == "done", report.reason
        assert house.sim.truth().output_deg == pytest.approx(5, abs=0.05)

    in_house(without)
    in_house(with_it, unattended=["vent"])


def test_a_long_run_agrees_with_the_truth_and_with_its_preview() -> None:
    tally = run_steps(40, seed=3)
    assert tally.steps == 40
    assert tally.wrong == []


def test_after_a_power_cut_a_run_is_unknown_and_nothing_goes_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    url = f"sqlite:///{tmp_path / 'geartender.db'}"
    ids: list[str] = []

    async def before(house: House) -> None:
        await house.homed()
        await house.put("air", AIR)
        ids.append((await house.start("air")).id)
        await asyncio.sleep(1)

        async def cut(_: object) -> None:
            raise NotStored("there is no power")

        monkeypatch.setattr(house.store, "put_run", cut)
        monkeypatch.setattr(house.store, "put_run_step", cut)

    async def after(house: House) -> None:
        await house.connected()
        report = await house.runs.report(ids[0])
        assert report.state == "unknown"
        assert report.steps[-1].state == "unknown"
        await asyncio.sleep(10)
        snapshot = house.servo.snapshot()
        assert (snapshot.run, snapshot.armed) == (None, False)

    in_house(before, url=url)
    in_house(after, url=url)


def test_a_disk_that_fails_in_the_midst_ends_the_run(monkeypatch: pytest.MonkeyPatch) -> None:
    async def scenario(house: House) -> None:
        await house.homed()
        await house.put("air", AIR)
        run = await house.start("air")
        await asyncio.sleep(1)

        async def full(_: object) -> None:
            raise NotStored("the disk is full")

        monkeypatch.setattr(house.store, "put_run_step", full)
        await run.ended()
        assert (run.state, run.reason) == ("stopped", "the disk is full")
        assert house.servo.snapshot().run is None
        await house.until(lambda: house.servo.snapshot().state == "ready")

    in_house(scenario)
