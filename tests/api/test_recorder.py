"""Every motion of a real (simulated) servo is in the journal before it is sent, and its result after."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable
from typing import Any

import pytest

from geartender.api.recorder import Recorder
from geartender.errors import Busy, NotStored
from geartender.servo.motions import Who
from geartender.servo.requests import MoveRequest, TurnRequest
from geartender.servo.servo import Servo
from geartender.simulator.device import SimulatedServo
from geartender.store import Store
from geartender.store.database import MEMORY
from geartender.store.journal_rows import Entry, Search
from geartender.store.trouble import Trouble
from geartender.world import World
from geartender.world.virtual import run_virtual
from tests.servo.rig import ANNA, Rig, direct, running
from tests.store.kit import opened

NOBODY = Who("run:r1", "the run r1", via="run", run="r1")


class Recorded(Rig):
    """A rig whose record is kept in a store."""

    def __init__(self, world: World, store: Store) -> None:
        sheet = direct()
        super().__init__(world, SimulatedServo(sheet, None, 1), sheet)
        self.store = store
        self.servo = Servo("vent", sheet, self.opener, world, Recorder(store))

    async def entries(self, *kinds: str) -> list[Entry]:
        return list(reversed((await self.store.journal.page(Search(kinds=kinds))).entries))

    async def story(self) -> list[tuple[str, str, str | None]]:
        return [(one.note.kind, one.note.text, one.result) for one in await self.entries()]


def on_recorded(scenario: Callable[[Recorded], Awaitable[None]]) -> None:
    async def main(world: World) -> None:
        async with opened(MEMORY, world) as store:
            rig = Recorded(world, store)
            async with running(rig.servo):
                await scenario(rig)

    run_virtual(main)


def test_the_journal_tells_the_whole_story() -> None:
    async def scenario(rig: Recorded) -> None:
        await rig.homed()
        await rig.go(30.0)
        await rig.servo.turn(ANNA, TurnRequest(speed_deg_s=2.0))
        await asyncio.sleep(0.5)
        rig.servo.stop(ANNA, 1)
        await rig.until(lambda: rig.servo.state == "disarmed")
        story = await rig.story()
        assert [kind for kind, *_ in story] == ["link", "arm", "home", "move", "turn", "stop"]
        assert story[2:5] == [
            ("home", "find the home mark", "done"),
            ("move", "move to 30°", "done"),
            ("turn", "turn at 2°/s", "stopped"),
        ]
        move = (await rig.entries("move"))[0]
        assert (move.note.who, move.note.via, move.note.what["to_deg"]) == ("Anna", "person", 30.0)
        assert move.figures["end_deg"] == pytest.approx(30.0, abs=0.1)

    on_recorded(scenario)


def test_a_fault_keeps_the_seconds_before_it() -> None:
    async def scenario(rig: Recorded) -> None:
        await rig.homed()
        motion = await rig.servo.move(ANNA, MoveRequest(to_deg=60.0))
        await asyncio.sleep(1.0)
        rig.sim.command("jam")
        await motion.ended()
        (fault,) = await rig.entries("fault")
        assert fault.cause in ("overload", "stalled", "following-error")
        rows = await rig.store.journal.trace(fault.id)
        assert rows[0]["t_s"] < -1.0 < rows[-1]["t_s"] <= 0.0
        (move,) = await rig.entries("move")
        assert (move.result, move.reason, move.traced) == ("faulted", fault.note.text, True)

    on_recorded(scenario)


def test_a_person_drives_and_stops_while_nothing_can_be_kept_and_the_journal_says_so_later() -> None:
    async def scenario(rig: Recorded) -> None:
        await rig.homed()
        rig.store._database.trouble = Trouble.FAILED
        motion = await rig.go(20.0)
        assert motion.state == "done"
        rig.servo.stop(ANNA, 2)
        await asyncio.sleep(0)
        assert len(await rig.entries("move")) == 0
        rig.store._database.trouble = None
        await rig.store.journal.catch_up()
        (move,) = await rig.entries("move")
        assert (move.result, move.late) == ("done", True)
        (stop,) = await rig.entries("stop")
        assert stop.late

    on_recorded(scenario)


def test_what_runs_by_itself_does_not_move_unless_it_is_written_down() -> None:
    async def scenario(rig: Recorded) -> None:
        await rig.homed()
        await asyncio.sleep(2.0)
        before = rig.truth_deg
        rig.store._database.trouble = Trouble.FULL
        with pytest.raises(NotStored):
            await rig.servo.move(NOBODY, MoveRequest(to_deg=20.0))
        await asyncio.sleep(1.0)
        assert rig.truth_deg == pytest.approx(before, abs=0.05)

    on_recorded(scenario)


def test_a_stop_that_comes_while_an_intent_is_written_wins(monkeypatch: pytest.MonkeyPatch) -> None:
    async def scenario(rig: Recorded) -> None:
        await rig.homed()
        begins = Recorder.begins

        async def slow(self: Recorder, *given: Any) -> None:
            await begins(self, *given)
            await asyncio.sleep(0.4)

        monkeypatch.setattr(Recorder, "begins", slow)
        asked = asyncio.create_task(rig.servo.move(ANNA, MoveRequest(to_deg=20.0)))
        await asyncio.sleep(0.2)
        rig.servo.stop(ANNA, 2)
        with pytest.raises(Busy):
            await asked
        (move,) = await rig.entries("move")
        assert (move.result, move.reason) == ("stopped", "a stop came first")

    on_recorded(scenario)


def test_a_jog_let_go_while_its_intent_is_written_never_begins(monkeypatch: pytest.MonkeyPatch) -> None:
    async def scenario(rig: Recorded) -> None:
        await rig.homed()
        begins = Recorder.begins

        async def slow(self: Recorder, *given: Any) -> None:
            await begins(self, *given)
            await asyncio.sleep(0.2)

        monkeypatch.setattr(Recorder, "begins", slow)
        rig.servo.jog(ANNA, 5.0)
        await asyncio.sleep(0.1)
        rig.servo.end_jog(ANNA)
        await asyncio.sleep(1.0)
        (jog,) = await rig.entries("jog")
        assert (jog.result, jog.reason, jog.figures) == ("done", "let go before it began", {})
        assert rig.servo.state == "ready"

    on_recorded(scenario)
