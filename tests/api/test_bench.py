"""The bench over HTTP: what it asks, what it finds, what is kept, and what a stop leaves behind. On virtual time, with a simulated servo."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

import httpx
import pytest

from geartender.api.app import create_app
from geartender.bench.health import diary
from geartender.cli.bench import _report
from geartender.cli.running import ridge_vent
from geartender.config import parse_settings
from geartender.simulator.device import SimulatedServo
from geartender.simulator.in_memory import SimulatedPort
from geartender.world import World
from geartender.world.virtual import run_virtual
from tests.api.kit import NO_LIMIT, ORIGIN, lifespan
from tests.servo.rig import direct

BENCH = "/api/v1/bench"
MEASURED = "/api/v1/servos/vent/measured"


@dataclass
class Shed:
    """The service, and the machine behind it."""

    http: httpx.AsyncClient
    sim: SimulatedServo

    async def ready(self) -> None:
        for _ in range(100):
            if (await self.http.get("/api/v1/servos/vent")).json()["state"] == "disarmed":
                return
            await asyncio.sleep(0.05)
        raise AssertionError("the servo did not connect")

    async def begin(self, procedure: str = "measure", **body: Any) -> dict[str, Any]:
        answer = await self.http.post(f"{BENCH}/{procedure}/runs", json=body)
        assert answer.status_code == 202, answer.text
        return answer.json()

    async def look(self, run: dict[str, Any], wait_s: int = 5) -> dict[str, Any]:
        return (await self.http.get(f"{BENCH}/runs/{run['id']}", headers={"Prefer": f"wait={wait_s}"})).json()

    async def answer(self, run: dict[str, Any], value: Any = None) -> httpx.Response:
        asked = run["question"]["id"]
        return await self.http.post(f"{BENCH}/runs/{run['id']}/answer", json={"question": asked, "value": value})

    async def through(self, run: dict[str, Any], **answers: Any) -> dict[str, Any]:
        """Go through a run with these answers."""
        for _ in range(200):
            if run["state"] not in ("running", "waiting"):
                return run
            if run["question"] is not None:
                answer = await self.answer(run, answers.get(run["question"]["id"]))
                assert answer.status_code == 200, answer.text
            run = await self.look(run)
        raise AssertionError(run["question"])


def in_shed(test: Callable[[Shed], Awaitable[None]]) -> None:
    sim = SimulatedServo(direct(), None, 1)

    async def main(world: World) -> None:
        settings = parse_settings({"servo": [{"name": "vent", "port": "sim", "build": ridge_vent()}]})
        app = create_app(settings, world, anybody=True, rates=NO_LIMIT)
        transport = httpx.ASGITransport(app, raise_app_exceptions=False)
        async with lifespan(app), httpx.AsyncClient(transport=transport, base_url=ORIGIN) as http:
            shed = Shed(http, sim)
            await shed.ready()
            await test(shed)

    port = SimulatedPort(sim)
    run_virtual(main, opener=lambda _: port)


def test_the_procedures_are_listed_with_what_they_do() -> None:
    async def test(shed: Shed) -> None:
        items = (await shed.http.get(BENCH)).json()["items"]
        assert [one["name"] for one in items] == [
            "first-power",
            "measure",
            "tune",
            "thresholds",
            "positions",
            "weight",
            "warm-up",
        ]
        assert all(one["about"] and one["steps"] and one["last"] is None for one in items)
        assert (await shed.http.get(f"{BENCH}/tune")).json()["title"] == "Tune"
        assert (await shed.http.get(f"{BENCH}/cook")).status_code == 404
        assert (await shed.http.post(f"{BENCH}/cook/runs", json={})).status_code == 404

    in_shed(test)


def test_nothing_moves_before_the_word_and_a_wrong_word_is_refused() -> None:
    async def test(shed: Shed) -> None:
        run = await shed.begin()
        run = await shed.look(run)
        assert run["state"] == "waiting"
        announced = run["question"]["announcement"]
        assert announced["moves_deg"] > 0
        assert announced["torque_nm"] > 0
        before = shed.sim.truth().output_deg
        await asyncio.sleep(3)
        assert shed.sim.truth().output_deg == before
        wrong = await shed.http.post(f"{BENCH}/runs/{run['id']}/answer", json={"question": "other"})
        assert (wrong.status_code, wrong.json()["type"]) == (409, "/problems/busy")
        second = await shed.http.post(f"{BENCH}/tune/runs", json={})
        assert (second.status_code, second.json()["type"]) == (409, "/problems/busy")

    in_shed(test)


def test_what_was_found_is_kept_with_its_records_and_takes_the_place_of_the_figure() -> None:
    async def test(shed: Shed) -> None:
        assert (await shed.http.get(MEASURED)).status_code == 404
        designed = (await shed.http.get("/api/v1/servos/vent/figures")).json()
        run = await shed.begin()
        run = await shed.through(run, stop="yes", meter="no")
        assert run["state"] == "done", run["reason"]
        answer = await shed.http.get(MEASURED)
        measured = answer.json()
        assert answer.headers["etag"] == f'"{run["measured_revision"]}"'
        assert measured["values"]["ke_v_s"]["uncertainty"] > 0
        assert measured["values"]["ke_v_s"]["run"] == run["id"]
        built = (await shed.http.get("/api/v1/servos/vent/figures")).json()
        assert built["motor"]["kt_nm_per_a"] == pytest.approx(measured["values"]["ke_v_s"]["value"])
        assert built["motor"]["kt_nm_per_a"] != pytest.approx(designed["motor"]["kt_nm_per_a"], rel=1e-6)
        assert (await shed.http.get("/api/v1/servos/vent/figures?by=designed")).json() == designed
        names = [name for step in run["steps"] for name in step["records"]]
        record = await shed.http.get(f"{BENCH}/runs/{run['id']}/records/{names[0]}", headers={"Accept": "text/csv"})
        assert record.text.startswith("t_s,count,duty,mark,supply_v\r\n")
        entries = (await shed.http.get("/api/v1/journal", params={"kind": "bench"})).json()["items"]
        assert [one["text"] for one in entries] == ["Measure done", "Measure begun"]
        report = (await shed.http.get(f"{BENCH}/report")).json()
        row = next(one for one in report["values"] if one["name"] == "ke_v_s")
        assert row["built"] == measured["values"]["ke_v_s"]["value"]
        assert report["plots"]
        page = await shed.http.get(f"{BENCH}/report", headers={"Accept": "text/html"})
        assert "<svg" in page.text
        assert "not an emergency stop" in page.text
        assert "unsafe" not in page.headers["content-security-policy"]
        table = await shed.http.get(f"{BENCH}/report", headers={"Accept": "text/csv"})
        assert table.text.splitlines()[0] == "name,unit,designed,built,uncertainty,procedure,at,other"
        assert (await shed.http.get(f"{BENCH}/measure")).json()["last"]["state"] == "done"
        stale = await shed.http.put(MEASURED, json={}, headers={"If-Match": '"99"'})
        assert stale.status_code == 412
        empty = await shed.http.put(MEASURED, json={}, headers={"If-Match": answer.headers["etag"]})
        assert empty.status_code == 200
        assert (await shed.http.get("/api/v1/servos/vent/figures")).json() == designed
        assert (await shed.http.get(f"{BENCH}/versions")).json()["items"] == [1, 2]
        both = (await shed.http.get(f"{BENCH}/report?against=1")).json()
        assert next(one for one in both["values"] if one["name"] == "ke_v_s")["other"] == row["built"]
        assert (both["revision"], both["versions"], both["against"]) == (2, [1, 2], 1)
        assert both["against_at"] == report["measured_at"]
        for named in report["records"]:
            assert (await shed.http.get(named["path"])).json()["columns"][0] == "t_s"
        assert {one["name"] for one in report["records"]} == set(names)
        compared = await shed.http.get(f"{BENCH}/report?against=1", headers={"Accept": "text/html"})
        assert "compared with version 1" in compared.text
        assert "Version 1</th>" in compared.text
        assert "·10⁻" in compared.text
        assert _report(both).splitlines()[1].split()[-2:] == ["version", "1"]
        assert "by --against: 1" in _report(both)

    in_shed(test)


def test_a_stop_ends_it_at_once_and_leaves_the_servo_disarmed_and_the_values_as_they_were() -> None:
    async def test(shed: Shed) -> None:
        run = await shed.begin(auto=True)
        await asyncio.sleep(3.0)
        assert shed.sim.truth().duty != 0.0
        await shed.http.post("/api/v1/servos/vent/stop", json={"category": 0})
        run = await shed.look(run)
        assert (run["state"], run["question"]) == ("stopped", None)
        assert "stopped by" in run["reason"]
        assert (await shed.http.get("/api/v1/servos/vent")).json()["state"] == "disarmed"
        assert (await shed.http.get("/api/v1/servos/vent")).json()["run"] is None
        assert (await shed.http.get(MEASURED)).status_code == 404

    in_shed(test)


def test_a_run_can_be_ended_by_itself_and_its_answer_has_a_shape() -> None:
    async def test(shed: Shed) -> None:
        run = await shed.begin("tune")
        ended = (await shed.http.post(f"{BENCH}/runs/{run['id']}/stop")).json()
        assert ended["state"] == "stopped"
        assert ended["reason"].startswith("stopped by")
        took = datetime.fromisoformat(ended["ended_at"]) - datetime.fromisoformat(ended["began_at"])
        assert took < timedelta(seconds=5), "it did not wait until nobody had answered for an hour"
        assert (await shed.http.post(f"{BENCH}/runs/{run['id']}/answer", json={"question": "x"})).status_code in (
            404,
            409,
        )
        wrong = await shed.http.put(
            MEASURED, json={"values": {"ke_v_s": {"value": "x"}}}, headers={"If-None-Match": "*"}
        )
        assert wrong.status_code == 422

    in_shed(test)


def test_normal_moves_are_looked_at_for_wear_and_those_of_the_bench_are_not(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(diary, "MOVES_A_POINT", 4)

    async def test(shed: Shed) -> None:
        vent = "/api/v1/servos/vent"
        empty = (await shed.http.get(f"{BENCH}/health")).json()
        assert (empty["points"], empty["moves"], empty["plots"]) == (0, 0, [])
        assert len(empty["notes"]) == 2
        for act in ("arm", "home"):
            await shed.http.post(f"{vent}/{act}", headers={"Prefer": "wait=60"})
        for to_deg in (50, 10, 50, 10):
            moved = await shed.http.post(f"{vent}/moves", json={"to_deg": to_deg}, headers={"Prefer": "wait=60"})
            assert moved.json()["state"] == "done", moved.text
        await shed.http.post(f"{vent}/disarm")
        await asyncio.sleep(2)
        await shed.through(await shed.begin("thresholds", auto=True))
        health = (await shed.http.get(f"{BENCH}/health?servo=vent")).json()
        assert (health["points"], health["moves"]) == (1, 4)
        table = (await shed.http.get(f"{BENCH}/health", headers={"Accept": "text/csv"})).text.split("\r\n")
        assert table[0] == "at,moves,friction_nm,effort_a,play_counts,marks,off_counts"
        assert len(table) == 3
        assert (await shed.http.get(f"{BENCH}/report")).json()["health"]["moves"] == 4
        assert (await shed.http.get(f"{BENCH}/health?servo=other")).status_code == 404

    in_shed(test)
