"""However a run of the bench ends, at whatever step: nothing drives, the board has the servo's own settings, and nothing was kept."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable
from contextlib import AsyncExitStack
from typing import Any

import httpx
import pytest
from fastapi import FastAPI

from geartender.api.app import create_app
from geartender.api.service import Service
from geartender.bench.listing import PROCEDURES
from geartender.build.measured import Measured
from geartender.cli.running import ridge_vent
from geartender.config import parse_settings
from geartender.errors import Busy
from geartender.link.port import PortEvents
from geartender.servo.settings import firmware_settings, settings_digest
from geartender.simulator.board import CPythonBoard
from geartender.simulator.device import SimulatedServo
from geartender.simulator.in_memory import SimulatedPort
from geartender.world import World
from geartender.world.virtual import run_virtual
from tests.api.kit import NO_LIMIT, ORIGIN, lifespan
from tests.bench.kit import Person
from tests.servo.rig import ANNA, direct

MEASURED = "/api/v1/servos/vent/measured"
VENT = "/api/v1/servos/vent"
LOOK_S = 0.01
MOVES_DEG_S = 0.5
"""deg/s of the output from which it is in mid-motion."""
SET_UP_S = 1.5
"""s until a servo that was set up once in vain has been set up again."""
TURNS_S = 4.0
"""s within which a step that moves has begun to."""


class Cord(SimulatedPort):
    """A port whose service can be killed: from then on nothing of it reaches the board, and it hears nothing."""

    async def open(self, events: PortEvents) -> Any:
        self.line: Any = await super().open(events)
        return self.line

    def kill(self) -> None:
        self.line.write = lambda _: None
        self.released(self.line)


class Shed:
    """A service, the machine behind it and a person beside it."""

    def __init__(self, world: World, sim: SimulatedServo, port: Cord) -> None:
        self.world, self.sim, self.port = world, sim, port

    async def serve(self, stack: AsyncExitStack) -> httpx.AsyncClient:
        """Start a service, and wait until its servo is there."""
        settings = parse_settings({"servo": [{"name": "vent", "port": "sim", "build": ridge_vent()}]})
        self.app: FastAPI = create_app(settings, self.world, anybody=True, rates=NO_LIMIT)
        transport = httpx.ASGITransport(self.app, raise_app_exceptions=False)
        await stack.enter_async_context(lifespan(self.app))
        http = await stack.enter_async_context(httpx.AsyncClient(transport=transport, base_url=ORIGIN))
        await self.until(lambda: self.service.servos["vent"].snapshot().state == "disarmed")
        return http

    @property
    def service(self) -> Service:
        service: Service = self.app.state.service
        return service

    async def until(self, so: Callable[[], bool], at_most_s: float = 60.0) -> bool:
        """Wait for something; tells whether it came about."""
        for _ in range(round(at_most_s / LOOK_S)):
            if so():
                return True
            await asyncio.sleep(LOOK_S)
        return so()

    @property
    def board_has_its_own(self) -> bool:
        """Whether the board holds the settings that the sheet and what was measured make."""
        assert isinstance(self.sim._board, CPythonBoard)
        servo = self.service.servos["vent"]
        own = firmware_settings(servo.built, servo.measured.tuning)
        return bool(self.sim._board.core.settings.digest() == settings_digest(own))


async def stop(shed: Shed, http: httpx.AsyncClient, run: str) -> None:
    await http.post(f"{VENT}/stop", json={"category": 1})


async def end(shed: Shed, http: httpx.AsyncClient, run: str) -> None:
    await http.post(f"/api/v1/bench/runs/{run}/stop")


async def take_the_helm(shed: Shed, http: httpx.AsyncClient, run: str) -> None:
    await http.post(f"{VENT}/helm", json={"force": True}, headers={"Geartender-Client": "another"})
    early = await http.post(f"{VENT}/arm", headers={"Geartender-Client": "another"})
    assert early.status_code in (200, 409, 503)
    assert early.status_code != 200 or shed.board_has_its_own
    await http.post(f"{VENT}/disarm")


async def pull_the_cable(shed: Shed, http: httpx.AsyncClient, run: str) -> None:
    shed.sim.command("unplug 1")


async def reset_the_board(shed: Shed, http: httpx.AsyncClient, run: str) -> None:
    shed.sim.command("reset")


async def kill(shed: Shed, http: httpx.AsyncClient, run: str) -> None:
    shed.port.kill()


WAYS = (stop, end, take_the_helm, pull_the_cable, kill, reset_the_board)


Way = Callable[[Shed, httpx.AsyncClient, str], Awaitable[None]]


def interrupted(procedure: str, step: int, way: Way, *, moving: bool) -> bool:
    """Run a procedure up to a step, or until that one moves, end it that way, and look. False: it has no such step."""
    sim = SimulatedServo(direct(), None, 1)
    port = Cord(sim)

    async def main(world: World) -> bool:
        async with AsyncExitStack() as stack:
            shed = Shed(world, sim, port)
            http = await shed.serve(stack)
            known = {"values": {"friction_nm": {"value": 0.0021, "uncertainty": 0.0001}}}
            before = await http.put(MEASURED, json=known, headers={"If-None-Match": "*"})
            assert before.status_code == 201, before.text
            await shed.until(lambda: shed.board_has_its_own)
            run: str = (await http.post(f"/api/v1/bench/{procedure}/runs", json={"auto": True})).json()["id"]
            session = shed.service.benches.live(run)
            assert session is not None
            attending = asyncio.create_task(Person(sim, 1, knob=85).attend(session))
            reached = await shed.until(lambda: len(session.report.steps) > step or session.final, 900.0)
            assert reached
            if len(session.report.steps) <= step:
                return False
            if moving:
                await shed.until(lambda: abs(sim.truth().output_deg_s) > MOVES_DEG_S or session.final, TURNS_S)
            if session.final and session.report.steps[step].announcement is None:
                return True  # nothing moves in it, and nobody is waited for: it is over before anybody can interrupt it
            await way(shed, http, run)
            await shed.until(lambda: session.final, 30.0 if way is not kill else 2.0)
            attending.cancel()
            assert (await http.get(MEASURED)).json() == before.json()
            if way is kill:
                http = await shed.serve(stack)
                shed.service.servos["vent"].replace_measured(Measured.model_validate(before.json()))
            else:
                assert session.report.state in ("stopped", "faulted"), session.report
            servo = shed.service.servos["vent"]
            assert await shed.until(lambda: servo.snapshot().link.state == "connected" and not servo.snapshot().armed)
            assert await shed.until(lambda: shed.board_has_its_own, 5.0), "trial settings stayed on the board"
            assert sim.truth().duty == 0.0
            assert servo.snapshot().run is None
            await asyncio.sleep(SET_UP_S)
            await http.post(f"{VENT}/reset")
            again = await http.post(f"{VENT}/arm", headers={"Geartender-Client": "another"})
            assert again.status_code == 200, again.text
            return True

    return run_virtual(main, 1, lambda _: port)


STEPS = {name: len(listed.steps) for name, listed in PROCEDURES.items()} | {"tune": 6}
"""How many steps each takes: tune measures first what is not known yet."""


@pytest.mark.parametrize("moving", [False, True], ids=["as it begins", "in mid-motion"])
@pytest.mark.parametrize(
    ("procedure", "step"), [(name, step) for name, steps in STEPS.items() for step in range(steps)]
)
def test_a_run_that_is_interrupted_at_any_step_leaves_the_servo_disarmed_and_the_values_as_they_were(
    procedure: str, step: int, moving: bool
) -> None:
    assert interrupted(procedure, step, WAYS[(step + 3 * moving) % len(WAYS)], moving=moving)


@pytest.mark.parametrize("procedure", STEPS)
def test_those_are_all_its_steps(procedure: str) -> None:
    assert not interrupted(procedure, STEPS[procedure], end, moving=False)


@pytest.mark.parametrize("way", WAYS)
def test_trial_settings_go_however_a_run_ends(way: Way) -> None:
    assert interrupted("measure", 2, way, moving=True)


def test_settings_on_trial_are_put_back_before_anybody_else_may_arm() -> None:
    """The end of the run is cut off, so that its own way of putting them back never comes to its end."""
    sim = SimulatedServo(direct(), None, 1)
    port = Cord(sim)

    async def main(world: World) -> None:
        async with AsyncExitStack() as stack:
            shed = Shed(world, sim, port)
            http = await shed.serve(stack)
            servo = shed.service.servos["vent"]
            run = (await http.post("/api/v1/bench/thresholds/runs", json={})).json()["id"]
            session = shed.service.benches.live(run)
            assert session is not None
            await servo.try_settings({"audit_counts": 77})
            assert not shed.board_has_its_own
            with pytest.raises(Busy, match="on trial"):
                await servo.arm(ANNA)
            await servo.arm(session.who)
            servo.release(session)
            with pytest.raises(Busy, match="on trial"):
                await servo.arm(ANNA)
            await servo.disarm(ANNA)
            assert await shed.until(lambda: shed.board_has_its_own, 2.0)
            await servo.arm(ANNA)

    run_virtual(main, 1, lambda _: port)
