"""`/trains`: the search runs in a process of its own, one at a time, and ends with whoever waits for it."""

import asyncio
import json
import random
from collections.abc import AsyncGenerator
from typing import Any

import httpx
import pytest

from geartender.api.app import create_app
from geartender.api.train_search import TrainSearch, Word
from geartender.build import build_document, load_build, parse_build
from geartender.build.trains import TrainRequest, find_trains
from geartender.cli.running import ridge_vent
from geartender.config import parse_settings
from geartender.errors import Busy, Invalid
from geartender.world import World
from tests.api.kit import NO_LIMIT, ORIGIN, IdlePort, Kit, run

TRAINS = "/api/v1/trains"
SHEET = build_document(load_build(ridge_vent()))
ASKED = {"speed_deg_s": 20, "torque_nm": 1, "most_meshes": 3, "most": 3}


def real(test: Any) -> None:
    """Run a test against the application on a real loop, where processes can be started."""

    async def main() -> None:
        settings = parse_settings({"servo": [{"name": "vent", "port": "none", "build": ridge_vent()}]})
        app = create_app(settings, World(random.Random(1), opener=lambda _: IdlePort()), anybody=True, rates=NO_LIMIT)
        async with httpx.AsyncClient(transport=httpx.ASGITransport(app), base_url=ORIGIN) as http:
            await test(http)

    asyncio.run(main())


def test_the_answer_is_that_of_the_search() -> None:
    async def test(http: httpx.AsyncClient) -> None:
        answer = await http.post(TRAINS, json={"build": SHEET, **ASKED}, timeout=60)
        assert answer.status_code == 200
        expected = find_trains(parse_build(SHEET), TrainRequest.model_validate(ASKED))
        assert answer.json() == expected.model_dump(mode="json")
        assert len(answer.json()["items"]) == 3
        assert "Fewest meshes first" in answer.json()["rule"]

    real(test)


def test_progress_comes_line_by_line_and_the_result_last() -> None:
    async def test(http: httpx.AsyncClient) -> None:
        headers = {"Accept": "application/x-ndjson"}
        answer = await http.post(TRAINS, json={"build": SHEET, **ASKED}, headers=headers, timeout=60)
        assert answer.headers["content-type"].startswith("application/x-ndjson")
        *progress, last = [json.loads(line) for line in answer.text.splitlines()]
        assert progress
        assert all(0.0 <= word["progress"] <= 1.0 for word in progress)
        assert len(last["result"]["items"]) == 3

    real(test)


def test_a_search_ends_with_who_waits_for_it_and_another_can_begin() -> None:
    async def main() -> None:
        search = TrainSearch()
        words = search.words(SHEET, {**ASKED, "most_meshes": 4, "most": 100})
        assert "progress" in await anext(words)
        with pytest.raises(Busy, match="Another search"):
            await anext(search.words(SHEET, ASKED))
        await words.aclose()
        assert [word async for word in search.words(SHEET, ASKED)][-1]["result"]["items"]

    asyncio.run(main())


class Scripted(TrainSearch):
    """Says what it is told to, without a process."""

    def __init__(self, *script: Word | Exception) -> None:
        super().__init__()
        self.script = script

    async def words(self, build: dict[str, Any], request: dict[str, Any]) -> AsyncGenerator[Word]:
        for word in self.script:
            if isinstance(word, Exception):
                raise word
            yield word


@pytest.mark.parametrize("accept", ["application/json", "application/x-ndjson"])
def test_a_second_search_is_told_to_wait(accept: str) -> None:
    async def test(kit: Kit) -> None:
        kit.app.state.service.trains = Scripted(Busy("Another search for trains runs."))
        answer = await kit.http.post(TRAINS, json={"build": SHEET, **ASKED}, headers={"Accept": accept})
        assert answer.status_code == 409
        assert answer.json()["type"] == "/problems/busy"

    run(test)


def test_a_search_that_fails_on_its_way_says_so_in_its_last_line() -> None:
    async def test(kit: Kit) -> None:
        kit.app.state.service.trains = Scripted({"progress": 0.5}, Invalid("The search takes longer than 120 s."))
        headers = {"Accept": "application/x-ndjson"}
        answer = await kit.http.post(TRAINS, json={"build": SHEET, **ASKED}, headers=headers)
        assert answer.text.splitlines() == [
            '{"progress": 0.5}',
            '{"problem": {"detail": "The search takes longer than 120 s."}}',
        ]

    run(test)


def test_a_search_without_a_result_is_no_answer() -> None:
    async def test(kit: Kit) -> None:
        kit.app.state.service.trains = Scripted({"progress": 0.5})
        answer = await kit.http.post(TRAINS, json={"build": SHEET, **ASKED})
        assert answer.status_code == 500
        assert answer.headers["content-type"] == "application/problem+json"

    run(test)


@pytest.mark.parametrize(
    ("changes", "pointer"),
    [
        ({"torque_nm": -1}, "#/torque_nm"),
        ({"speed_deg_s": None}, "#/speed_deg_s"),
        ({"fewest_teeth": 9}, "#/fewest_teeth"),
        ({"fewest_teeth": 60, "most_teeth": 20}, "#"),
        ({"quickly": True}, "#/quickly"),
        ({"modules_mm": []}, "#/modules_mm"),
        ({"build": {}}, "#/build/motor"),
        ({"build": [1]}, "#/build"),
    ],
)
def test_mistakes_name_their_place(changes: dict[str, Any], pointer: str) -> None:
    async def test(kit: Kit) -> None:
        kit.app.state.service.trains = Scripted()
        answer = await kit.http.post(TRAINS, json={"build": SHEET, **ASKED} | changes)
        assert answer.status_code == 422
        assert pointer in [each["pointer"] for each in answer.json()["errors"]]

    run(test)


def test_teeth_of_unknown_strength_are_refused_before_any_search() -> None:
    bare = SHEET | {"mesh": [{"kind": "spur", "driver_teeth": 12, "driven_teeth": 60}]}

    async def test(kit: Kit) -> None:
        kit.app.state.service.trains = Scripted()
        answer = await kit.http.post(TRAINS, json={"build": bare, **ASKED})
        assert answer.status_code == 422
        assert "allowable_mpa" in answer.text

    run(test)
