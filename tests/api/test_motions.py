import asyncio
from typing import Any

import pytest

from geartender.errors import Disarmed
from geartender.servo.models import MotionState, TraceRow
from tests.api.kit import Kit, run

PATH = "/api/v1/servos/vent"


def test_a_move_is_accepted_with_its_address() -> None:
    async def test(kit: Kit) -> None:
        answer = await kit.http.post(f"{PATH}/moves", json={"to_deg": 20})
        assert answer.status_code == 202
        assert answer.headers["location"] == f"{PATH}/motions/m-1"
        assert (await kit.http.get(answer.headers["location"])).json() == answer.json()
        listing = (await kit.http.get(f"{PATH}/motions")).json()
        assert listing == {"items": [answer.json()], "next": None}

    run(test)


def test_prefer_wait_holds_the_answer_until_the_end() -> None:
    async def test(kit: Kit) -> None:
        asked = asyncio.create_task(kit.http.post(f"{PATH}/home", headers={"Prefer": "respond-async, wait=10"}))
        await asyncio.sleep(3)
        assert not asked.done()
        kit.servo.motion("m-1").finish(MotionState.DONE, 3.0)
        answer = await asked
        assert (answer.status_code, answer.json()["state"]) == (200, "done")
        assert answer.headers["preference-applied"] == "wait=10"

    run(test)


def test_prefer_wait_gives_up_at_its_time_and_at_ours() -> None:
    async def test(kit: Kit) -> None:
        loop = asyncio.get_running_loop()
        for asked_s, waited_s in (("2", 2), ("999999", 60)):
            began = loop.time()
            answer = await kit.http.post(f"{PATH}/home", headers={"Prefer": f"wait={asked_s}"})
            assert answer.status_code == 202
            assert loop.time() - began == pytest.approx(waited_s)

    run(test)


@pytest.mark.parametrize(
    ("path", "body"),
    [
        ("moves", b'{"to_deg": NaN}'),
        ("moves", b'{"to_deg": Infinity}'),
        ("moves", b'{"to_deg": -1e400}'),
        ("moves", b'{"to_deg": 1, "by_deg": 1}'),
        ("moves", b'{"to": 1}'),
        ("moves", b"{}"),
        ("moves", b"[]"),
        ("moves", b"null"),
        ("moves", b""),
        ("moves", b'{"to_deg": "ten"}'),
        ("moves", b'{"to_deg": 1' + b"0" * 5000 + b"}"),
        ("moves", b'{"to_deg": 1, "speed_deg_s": 0}'),
        ("moves", b'{"to_deg": ' + b"[" * 60_000),
        ("moves", b"\xff\xfe"),
        ("moves", b'{"to_deg": 1'),
        ("turns", b'{"speed_deg_s": NaN}'),
        ("turns", b'{"speed_deg_s": 0}'),
        ("turns", b'{"speed_deg_s": 1, "for_s": 1, "turns": 1}'),
    ],
)
def test_nonsense_is_a_problem_and_moves_nothing(path: str, body: bytes) -> None:
    async def test(kit: Kit) -> None:
        answer = await kit.http.post(f"{PATH}/{path}", content=body, headers={"Content-Type": "application/json"})
        assert (answer.status_code, answer.json()["type"]) == (422, "/problems/invalid"), answer.text
        assert answer.headers["content-type"] == "application/problem+json"
        assert kit.servo.calls == []

    run(test)


def test_each_mistake_has_its_place() -> None:
    async def test(kit: Kit) -> None:
        answer = await kit.http.post(f"{PATH}/moves", json={"to_deg": 1, "speed_deg_s": -1, "speed": 3})
        slow, unknown = answer.json()["errors"]
        assert slow["pointer"] == "#/speed_deg_s"
        assert slow["detail"].startswith("speed_deg_s: should be greater than")
        assert unknown == {
            "detail": "speed: there is no such field; check its spelling and its unit",
            "pointer": "#/speed",
        }

    run(test)


def test_a_repeated_request_starts_nothing_again() -> None:
    async def test(kit: Kit) -> None:
        headers = {"Idempotency-Key": "k1"}
        first = await kit.http.post(f"{PATH}/moves", json={"by_deg": 5}, headers=headers)
        again = await kit.http.post(f"{PATH}/moves", json={"by_deg": 5}, headers=headers)
        assert (again.status_code, again.json(), again.headers["location"]) == (
            202,
            first.json(),
            first.headers["location"],
        )
        other = await kit.http.post(f"{PATH}/moves", json={"by_deg": 6}, headers=headers)
        assert (other.status_code, other.json()["type"]) == (422, "/problems/invalid")
        assert kit.servo.names() == ["move"]
        await kit.http.post(f"{PATH}/moves", json={"by_deg": 5}, headers={**headers, "Geartender-Client": "another"})
        await kit.http.post(f"{PATH}/turns", json={"speed_deg_s": 5}, headers=headers)
        assert kit.servo.names() == ["move", "move", "turn"]

    run(test)


def test_what_was_refused_is_not_started_by_a_late_repetition() -> None:
    async def test(kit: Kit) -> None:
        kit.servo.refusal = Disarmed("arm first")
        headers = {"Idempotency-Key": "k1"}
        assert (await kit.http.post(f"{PATH}/home", headers=headers)).status_code == 409
        kit.servo.refusal = None
        assert (await kit.http.post(f"{PATH}/home", headers=headers)).status_code == 409
        assert kit.servo.names() == ["home"]

    run(test)


@pytest.mark.parametrize(
    ("content", "category", "status"),
    [
        (b"", 1, 200),
        (b"{}", 1, 200),
        (b'{"category": 0}', 0, 200),
        (b'{"category": 2}', 2, 200),
        (b'{"category": 3}', 1, 422),
        (b'{"category": NaN}', 1, 422),
        (b"{", 1, 422),
        (b"\xff", 1, 422),
    ],
)
def test_stop_stops_whatever_its_body_says(content: bytes, category: int, status: int) -> None:
    async def test(kit: Kit) -> None:
        headers = {"Content-Type": "application/json", "Geartender-Client": " not a name "}
        answer = await kit.http.post(f"{PATH}/stop", content=content, headers=headers)
        assert answer.status_code == status, answer.text
        assert [(call[0], call[2]) for call in kit.servo.calls] == [("stop", category)]

    run(test)


def test_stop_goes_out_before_the_request_is_looked_at() -> None:
    async def test(kit: Kit) -> None:
        answer = await kit.http.post(
            f"{PATH}/stop?category=x", headers={"Prefer": "wait=;;", "Geartender-Client": "x" * 99}
        )
        assert answer.status_code == 200
        unknown = await kit.http.post("/api/v1/servos/door/stop")
        assert (unknown.status_code, unknown.json()["type"]) == (404, "/problems/unknown")
        assert kit.servo.names() == ["stop"]

    run(test)


def test_stop_does_not_wait_for_a_body_that_never_comes() -> None:
    async def test(kit: Kit) -> None:
        async def slow() -> Any:
            yield b'{"category"'
            await asyncio.sleep(3600)
            yield b": 0}"

        headers = {"Content-Type": "application/json"}
        sending = asyncio.create_task(kit.http.post(f"{PATH}/stop", content=slow(), headers=headers))
        await asyncio.sleep(0.1)
        assert kit.servo.names() == ["stop"]
        await sending

    run(test)


def test_stop_waits_for_the_confirmation_only_when_asked() -> None:
    async def test(kit: Kit) -> None:
        assert (await kit.http.post(f"{PATH}/stop")).status_code == 200
        waiting = asyncio.create_task(kit.http.post(f"{PATH}/stop", headers={"Prefer": "wait=5"}))
        await asyncio.sleep(1)
        assert not waiting.done()
        kit.servo.confirmed.set()
        assert (await waiting).headers["preference-applied"] == "wait=5"

    run(test)


def test_the_trace_comes_as_json_or_csv() -> None:
    async def test(kit: Kit) -> None:
        await kit.http.post(f"{PATH}/moves", json={"to_deg": 1})
        row = TraceRow(
            t_s=0.5,
            angle_deg=None,
            target_deg=1.0,
            reference_deg=0.5,
            speed_deg_s=2.0,
            torque_nm=0.1,
            current_a=0.2,
            duty=0.3,
            supply_v=11.9,
            counts=-7,
        )
        kit.servo.motion("m-1").add_row(row)
        path = f"{PATH}/motions/m-1/trace"
        assert (await kit.http.get(path)).json() == {"items": [row.model_dump(mode="json")], "next": None}
        table = await kit.http.get(path, headers={"Accept": "text/csv, application/json;q=0.5"})
        assert table.headers["content-type"].startswith("text/csv")
        assert table.text.split("\r\n") == [",".join(TraceRow.model_fields), "0.5,,1.0,0.5,2.0,0.1,0.2,0.3,11.9,-7", ""]
        missing = await kit.http.get(f"{PATH}/motions/m-9/trace")
        assert (missing.status_code, missing.json()["type"]) == (404, "/problems/unknown")

    run(test)
