"""Sequences, runs and the timetable over HTTP, on a simulated servo in virtual time."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from typing import Any

import httpx

from geartender.api.app import create_app
from geartender.build import load_build
from geartender.cli.running import ridge_vent
from geartender.config import parse_settings
from geartender.simulator.device import SimulatedServo
from geartender.simulator.in_memory import SimulatedPort
from geartender.world import World
from geartender.world.virtual import run_virtual
from tests.api.kit import NO_LIMIT, ORIGIN, lifespan

AIR: dict[str, Any] = {
    "servo": "vent",
    "steps": [{"do": "move", "to_deg": 30}, {"do": "wait", "for_s": 5}, {"do": "move", "to_deg": 5}],
}
NEW = {"If-None-Match": "*"}


@dataclass
class Shed:
    """A service with its one simulated servo."""

    http: httpx.AsyncClient
    sim: SimulatedServo

    async def get(self, path: str, **options: Any) -> Any:
        answer = await self.http.get(f"/api/v1{path}", **options)
        assert answer.status_code == 200, answer.text
        return answer.json()

    async def put(self, path: str, body: Any, headers: dict[str, str] | None = None) -> httpx.Response:
        return await self.http.put(f"/api/v1{path}", json=body, headers=NEW if headers is None else headers)

    async def post(self, path: str, body: Any = None, **headers: str) -> httpx.Response:
        return await self.http.post(f"/api/v1{path}", json=body, headers=headers)

    async def homed(self) -> None:
        await asyncio.sleep(5)
        assert (await self.post("/servos/vent/arm")).status_code == 200
        assert (await self.post("/servos/vent/home", Prefer="wait=60")).json()["state"] == "done"


def in_shed(test: Callable[[Shed], Awaitable[None]], **servo: Any) -> None:
    async def main(world: World) -> None:
        section = {"name": "vent", "port": "sim", "build": ridge_vent(), **servo}
        site = {"zone": "Europe/Lisbon", "latitude": 38.7, "longitude": -9.1}
        app = create_app(parse_settings({"servo": [section], "site": site}), world, anybody=True, rates=NO_LIMIT)
        transport = httpx.ASGITransport(app, raise_app_exceptions=False)
        async with lifespan(app), httpx.AsyncClient(transport=transport, base_url=ORIGIN) as http:
            await test(Shed(http, sim))

    sim = SimulatedServo(load_build(ridge_vent()), None, 1)
    port = SimulatedPort(sim)
    run_virtual(main, opener=lambda _: port)


def test_a_sequence_is_made_read_changed_and_deleted_by_its_revision() -> None:
    async def test(shed: Shed) -> None:
        assert (await shed.put("/sequences/air", AIR, {})).status_code == 428
        made = await shed.put("/sequences/air", AIR)
        assert made.status_code == 201
        tag = made.headers["ETag"]
        assert not tag.startswith("W/")
        assert (await shed.put("/sequences/air", AIR)).status_code == 412
        read = await shed.http.get("/api/v1/sequences/air")
        assert (read.json(), read.headers["ETag"]) == (AIR, tag)
        assert (await shed.http.get("/api/v1/sequences/air", headers={"If-None-Match": tag})).status_code == 304
        changed = await shed.put("/sequences/air", {**AIR, "note": "x"}, {"If-Match": tag})
        assert changed.status_code == 200
        assert (await shed.put("/sequences/air", AIR, {"If-Match": tag})).json()["type"] == "/problems/stale"
        assert [one["name"] for one in (await shed.get("/sequences"))["items"]] == ["air"]
        assert (await shed.http.delete("/api/v1/sequences/air")).status_code == 428
        gone = await shed.http.delete("/api/v1/sequences/air", headers={"If-Match": changed.headers["ETag"]})
        assert gone.status_code == 204
        assert (await shed.http.get("/api/v1/sequences/air")).status_code == 404
        assert (await shed.put("/sequences/air", AIR, {"If-Match": tag})).status_code == 412
        kinds = [one["text"] for one in (await shed.get("/journal"))["items"]]
        assert kinds[:3] == ["sequence air deleted", "sequence air changed", "sequence air made"]

    in_shed(test)


def test_mistakes_are_told_with_their_places() -> None:
    async def test(shed: Shed) -> None:
        steps = [
            {"do": "move", "to_deg": 100},
            {"do": "repeat", "times": 2, "steps": [{"do": "move", "to_deg": 10, "speed_deg_s": 500}]},
            {"do": "move", "servo": "door", "to_deg": 1},
            {"do": "run", "sequence": "nothing"},
            {"do": "run", "sequence": "self"},
        ]
        answer = await shed.put("/sequences/self", {"steps": steps})
        assert answer.status_code == 422
        places = {one["pointer"]: one["detail"] for one in answer.json()["errors"]}
        assert set(places) == {
            "#/steps/0",
            "#/steps/1/steps/0",
            "#/steps/2/servo",
            "#/steps/3/sequence",
            "#/steps/4/sequence",
        }
        assert "self → self" in places["#/steps/4/sequence"]
        assert (await shed.put("/sequences/Air at noon", AIR)).json()["type"] == "/problems/invalid"
        for levels in (20, 60, 1000):
            deep = '[{"do": "repeat", "times": 1, "steps": ' * levels + '[{"do": "home"}]' + "}]" * levels
            text, json = '{"steps": ' + deep + "}", {"Content-Type": "application/json", **NEW}
            refused = await shed.http.put("/api/v1/sequences/deep", content=text, headers=json)
            assert (refused.status_code, refused.json()["type"]) == (422, "/problems/invalid"), levels

    in_shed(test)


def test_a_call_loop_over_several_sequences_is_refused() -> None:
    async def test(shed: Shed) -> None:
        await shed.put("/sequences/one", AIR)
        await shed.put("/sequences/two", {"steps": [{"do": "run", "sequence": "one"}]})
        tag = (await shed.http.get("/api/v1/sequences/one")).headers["ETag"]
        answer = await shed.put("/sequences/one", {"steps": [{"do": "run", "sequence": "two"}]}, {"If-Match": tag})
        assert answer.status_code == 422
        assert "one → two → one" in answer.json()["errors"][0]["detail"]
        refused = await shed.http.delete("/api/v1/sequences/one", headers={"If-Match": tag})
        assert (refused.status_code, refused.json()["detail"]) == (
            409,
            "It is used by the sequence two. Take it out there first.",
        )

    in_shed(test)


def test_a_preview_says_what_will_be() -> None:
    async def test(shed: Shed) -> None:
        await shed.put("/sequences/air", AIR)
        preview = (await shed.post("/sequences/air/preview", {"from_deg": 5})).json()
        assert [step["do"] for step in preview["steps"]] == ["move", "wait", "move"]
        assert preview["planned_s"] == sum(step["planned_s"] for step in preview["steps"])
        assert preview["rms_torque_nm"] > 0
        assert preview["continuous_torque_nm"] > preview["rms_torque_nm"]
        assert preview["energy_j"] > 0
        assert preview["runs_per_charge"] is None
        path = preview["servos"][0]["path"]
        assert path[0]["angle_deg"] == 5
        assert max(point["angle_deg"] for point in path) >= 30
        draft = {"document": {"steps": [{"do": "move", "to_deg": 99}]}}
        assert (await shed.post("/sequences/fresh/preview", draft)).status_code == 422
        draft = {"document": {"steps": [{"do": "move", "to_deg": 9}]}, "from_deg": 0}
        assert (await shed.post("/sequences/fresh/preview", draft)).json()["steps_total"] == 1
        assert (await shed.post("/sequences/fresh/preview")).status_code == 404

    in_shed(test)


def test_a_run_is_started_once_followed_held_and_ended() -> None:
    async def test(shed: Shed) -> None:
        await shed.put("/sequences/air", AIR)
        await asyncio.sleep(5)
        assert (await shed.post("/sequences/air/runs")).json()["type"] == "/problems/disarmed"
        await shed.homed()
        key = {"Idempotency-Key": "k1"}
        first = await shed.post("/sequences/air/runs", **key)
        again = await shed.post("/sequences/air/runs", **key)
        assert (first.status_code, again.status_code) == (202, 202)
        run = first.json()["id"]
        assert again.json()["id"] == run
        assert first.headers["Location"] == f"/api/v1/runs/{run}"
        assert (await shed.get("/servos/vent"))["run"] == run
        assert (await shed.post(f"/runs/{run}/hold")).json()["state"] == "held"
        assert (await shed.post(f"/runs/{run}/resume")).json()["state"] == "running"
        done = await shed.get(f"/runs/{run}", headers={"Prefer": "wait=60"})
        assert done["state"] == "done", done
        assert [step["state"] for step in done["steps"]] == ["done"] * 3
        second = (await shed.post("/sequences/air/runs")).json()["id"]
        assert (await shed.post(f"/runs/{second}/stop")).status_code == 200
        ended = await shed.get(f"/runs/{second}", headers={"Prefer": "wait=60"})
        assert ended["state"] == "stopped"
        listed = await shed.get("/runs", params={"limit": 1})
        assert [one["id"] for one in listed["items"]] == [second]
        rest = await shed.get("/runs", params={"cursor": listed["next"]})
        assert [one["id"] for one in rest["items"]] == [run]
        entries = (await shed.get("/journal"))["items"]
        assert [one["result"] for one in entries if one["kind"] == "run" and one["text"] == "run air"] == [
            "stopped",
            "done",
        ]

    in_shed(test)


def test_the_page_hears_of_each_step() -> None:
    async def test(shed: Shed) -> None:
        await shed.homed()
        await shed.put("/sequences/air", AIR)
        app = shed.http._transport.app  # type: ignore[attr-defined]
        heard: list[Any] = []
        subscription = app.state.service.servos["vent"].subscribe()

        async def listen() -> None:
            heard.extend([message async for message in subscription])

        task = asyncio.create_task(listen())
        await shed.post("/sequences/air/runs", Prefer="wait=60")
        subscription.close()
        await task
        steps = [one["step"] for one in heard if one.get("event") == "run" and one["step"]]
        assert [(one["position"], one["state"]) for one in steps] == [
            (at, state) for at in range(3) for state in ("running", "done")
        ]

    in_shed(test)


def test_the_timetable_runs_a_sequence_and_tells_its_next_times() -> None:
    async def test(shed: Shed) -> None:
        await shed.put("/sequences/air", AIR)
        wrong = await shed.put("/timetable/noon", {"sequence": "nothing", "cron": "61 * * * *"})
        assert {one["pointer"] for one in wrong.json()["errors"]} == {"#/sequence", "#/cron"}
        assert (await shed.put("/timetable/noon", {"sequence": "air"})).status_code == 422
        made = await shed.put("/timetable/noon", {"sequence": "air", "cron": "1 6 * * *"})
        assert made.status_code == 201
        slots = (await shed.get("/timetable/noon/next"))["items"]
        assert len(slots) == 10
        assert slots[0]["local"] == "2031-03-01T06:01:00+00:00"
        await shed.homed()
        await asyncio.sleep(90)
        (run,) = (await shed.get("/runs"))["items"]
        assert (run["state"], run["asked_by"]) == ("done", "the timetable's noon")
        assert run["asked_at"].startswith("2031-03-01T06:01:00")
        listed = await shed.get("/timetable")
        assert listed["items"][0]["next"]["local"] == "2031-03-02T06:01:00+00:00"
        assert listed["clock_right"] is True
        refused = await shed.http.delete("/api/v1/sequences/air", headers={"If-Match": "*"})
        assert "the timetable's noon" in refused.json()["detail"]

    in_shed(test)
