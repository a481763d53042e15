"""The journal over HTTP: filters, pages, a table, traces; and the notices beside it."""

from __future__ import annotations

import csv
import io

from geartender.store import Store
from geartender.store.space import FLOOR_BYTES
from geartender.store.trouble import Trouble
from tests.api.kit import Kit, run

TRACE_ROW = {
    "t_s": -0.03,
    "angle_deg": 12.0,
    "target_deg": None,
    "reference_deg": 12.1,
    "speed_deg_s": 3.0,
    "torque_nm": 1.4,
    "current_a": 0.8,
    "duty": 0.6,
    "supply_v": 11.9,
    "counts": 700,
}


def store_of(kit: Kit) -> Store:
    store: Store = kit.app.state.service.store
    return store


def test_an_entry_says_who_what_when_and_what_became_of_it() -> None:
    async def scenario(kit: Kit) -> None:
        journal = store_of(kit).journal
        intent = await journal.intend("move", "move to 30°", who="Anna", servo="vent", what={"to_deg": 30}, motion="m1")
        await journal.settle(intent, "done", figures={"end_deg": 30.0})
        entry = (await kit.http.get("/api/v1/journal")).json()["items"][0]
        assert (entry["who"], entry["via"], entry["text"], entry["result"]) == ("Anna", "person", "move to 30°", "done")
        assert entry["at"].endswith("Z")
        assert (entry["zone"], entry["motion"], entry["figures"]) == ("UTC", "m1", {"end_deg": 30.0})
        assert (await kit.http.get(f"/api/v1/journal/{entry['id']}")).json() == entry

    run(scenario)


def test_pages_follow_next_to_the_end_and_after_gives_what_is_new() -> None:
    async def scenario(kit: Kit) -> None:
        for number in range(7):
            store_of(kit).journal.tell("stop" if number % 2 else "arm", f"number {number}", servo="vent")
        seen, query = [], "limit=3"
        while True:
            page = (await kit.http.get(f"/api/v1/journal?{query}")).json()
            seen += [entry["text"][-1] for entry in page["items"]]
            if page["next"] is None:
                break
            query = f"limit=3&cursor={page['next']}"
        assert seen == list("6543210")
        newest = (await kit.http.get("/api/v1/journal?limit=1")).json()["items"][0]["id"]
        empty = (await kit.http.get(f"/api/v1/journal?after={newest}")).json()
        assert empty["items"] == []
        store_of(kit).journal.tell("arm", "number 7")
        more = (await kit.http.get(f"/api/v1/journal?after={empty['next']}")).json()
        assert [entry["text"] for entry in more["items"]] == ["number 7"]
        some = (await kit.http.get("/api/v1/journal?kind=stop&text=number&servo=vent")).json()
        assert [entry["text"][-1] for entry in some["items"]] == list("531")

    run(scenario)


def test_a_table_has_everything_by_rfc_4180() -> None:
    async def scenario(kit: Kit) -> None:
        for number in range(1201):
            store_of(kit).journal.tell("stop", f'said "{number}",\r\nand no more', servo="vent", what={"category": 1})
        answer = await kit.http.get("/api/v1/journal?limit=5", headers={"Accept": "text/csv"})
        assert answer.headers["content-type"].startswith("text/csv")
        rows = list(csv.DictReader(io.StringIO(answer.text, newline="")))
        assert len(rows) == 1201
        assert rows[0]["text"] == 'said "1200",\r\nand no more'
        assert rows[0]["what"] == '{"category": 1}'
        assert rows[0]["servo"] == "vent"
        assert rows[0]["reason"] == ""

    run(scenario)


def test_a_wrong_question_says_which_part_is_wrong() -> None:
    async def scenario(kit: Kit) -> None:
        for query in (
            "cursor=x",
            "limit=0",
            "limit=501",
            "since=yesterday",
            "since=2031-03-01T06:00:00",
            "cursor=1&after=1",
        ):
            answer = await kit.http.get(f"/api/v1/journal?{query}")
            assert answer.status_code == 422, query
        assert (await kit.http.get("/api/v1/journal/12")).status_code == 404

    run(scenario)


def test_the_trace_of_a_fault_can_be_read() -> None:
    async def scenario(kit: Kit) -> None:
        store_of(kit).journal.tell("fault", "too much", servo="vent", cause="overload", trace=[TRACE_ROW])
        store_of(kit).journal.tell("arm", "armed")
        arm, fault = (await kit.http.get("/api/v1/journal")).json()["items"]
        assert (fault["cause"], fault["has_trace"], arm["has_trace"]) == ("overload", True, False)
        assert (await kit.http.get(f"/api/v1/journal/{fault['id']}/trace")).json()["items"] == [TRACE_ROW]
        table = await kit.http.get(f"/api/v1/journal/{fault['id']}/trace", headers={"Accept": "text/csv"})
        assert table.text.startswith("t_s,angle_deg")
        assert (await kit.http.get(f"/api/v1/journal/{arm['id']}/trace")).status_code == 404

    run(scenario)


def test_a_broken_store_is_said_everywhere_and_the_servo_is_driven_all_the_same() -> None:
    async def scenario(kit: Kit) -> None:
        store = store_of(kit)
        store._database.trouble = Trouble.FAILED
        store._set_notices()
        health = (await kit.http.get("/healthz")).json()
        assert (health["status"], health["store"]) == ("impaired", "failed")
        (notice,) = (await kit.http.get("/api/v1/notices")).json()["items"]
        assert notice["kind"] == "store"
        assert "driven and stopped by hand" in notice["advice"]
        assert (await kit.http.delete(f"/api/v1/notices/{notice['id']}")).status_code == 409
        assert (await kit.http.post("/api/v1/servos/vent/moves", json={"to_deg": 20})).status_code == 202
        assert (await kit.http.post("/api/v1/servos/vent/stop", json={})).status_code == 200
        store._database.trouble = None
        store._set_notices()
        assert (await kit.http.get("/api/v1/notices")).json()["items"] == []
        assert (await kit.http.get("/healthz")).json()["status"] == "ok"

    run(scenario)


def test_a_nearly_full_disk_is_a_notice_before_it_is_full() -> None:
    async def scenario(kit: Kit) -> None:
        store = store_of(kit)
        store._database.free = 2 * FLOOR_BYTES
        store._set_notices()
        (notice,) = (await kit.http.get("/api/v1/notices")).json()["items"]
        assert (notice["kind"], "96 MiB" in notice["text"]) == ("disk", True)
        store.require_keeping()

    run(scenario)


def test_a_lasting_notice_stays_until_somebody_puts_it_aside() -> None:
    async def scenario(kit: Kit) -> None:
        store_of(kit).notices.set("missed", "dawn", "dawn was missed", "Look why.", servo="vent", lasting=True)
        assert set(await store_of(kit).states("notice")) == {"missed:dawn"}
        assert (await kit.http.delete("/api/v1/notices/missed:dawn")).status_code == 204
        assert (await kit.http.get("/api/v1/notices")).json()["items"] == []
        assert await store_of(kit).states("notice") == {}
        newest = (await kit.http.get("/api/v1/journal")).json()["items"][0]
        assert newest["text"] == "put aside: dawn was missed"

    run(scenario)
