import re
import tomllib
from typing import Any

from geartender.build import parse_build
from tests.api.kit import Kit, run

BUILD = "/api/v1/servos/vent/build"


def test_the_sheet_in_force_comes_as_a_file_when_asked_for() -> None:
    async def test(kit: Kit) -> None:
        answer = await kit.http.get(BUILD, headers={"Accept": "application/toml"})
        assert answer.headers["content-type"].startswith("application/toml")
        assert answer.headers["vary"] == "Accept"
        assert parse_build(answer.text) == kit.servo.sheet

    run(test)


def test_the_sheet_comes_with_only_what_was_written_into_it() -> None:
    async def test(kit: Kit) -> None:
        first = (await kit.http.get(BUILD)).json()
        assert "pulse" not in first
        assert "ambient_c" not in first["motor"]
        assert first == tomllib.loads((await kit.http.get(BUILD, headers={"Accept": "application/toml"})).text)

    run(test)


def test_toml_goes_both_ways() -> None:
    async def test(kit: Kit) -> None:
        sheet = (await kit.http.get(BUILD)).json()
        text = await kit.http.post("/api/v1/build/to-toml", json=sheet)
        assert text.headers["content-type"].startswith("application/toml")
        back = await kit.http.post("/api/v1/build/from-toml", json={"toml": text.text})
        assert back.json() == sheet

    run(test)


def test_a_file_with_mistakes_names_each_place() -> None:
    async def test(kit: Kit) -> None:
        answer = await kit.http.post("/api/v1/build/from-toml", json={"toml": "[motor]\nsupply_v = -1\n"})
        assert answer.status_code == 422
        assert {"#/motor/supply_v", "#/disc", "#/mesh"} <= {each["pointer"] for each in answer.json()["errors"]}
        no_toml = await kit.http.post("/api/v1/build/from-toml", json={"toml": "motor ="})
        assert [each["pointer"] for each in no_toml.json()["errors"]] == ["#"]
        half = await kit.http.post("/api/v1/build/to-toml", json={"motor": {}})
        assert half.status_code == 422

    run(test)


def test_the_schema_tells_every_field_its_hint() -> None:
    async def test(kit: Kit) -> None:
        answer = await kit.http.get("/api/v1/build/schema")
        assert answer.headers["cache-control"].startswith("max-age=")
        tables = answer.json()["$defs"]
        assert tables["Motor"]["properties"]["supply_v"]["maximum"] == 60
        fields = [field for table in tables.values() for field in table["properties"].values()]
        assert all(field["description"] for field in fields)

    run(test)


def test_every_reason_belongs_to_a_figure() -> None:
    def has(part: Any, steps: list[str]) -> bool:
        """Whether the place exists; nothing is known below a null or an empty list."""
        if not steps or part is None or part == []:
            return True
        if isinstance(part, list):
            return has(part[0], steps)
        return steps[0] in part and has(part[steps[0]], steps[1:])

    async def test(kit: Kit) -> None:
        answer = await kit.http.get("/api/v1/figures/why")
        assert answer.json()["next"] is None
        found = (await kit.http.get("/api/v1/servos/vent/figures")).json()
        for reason in answer.json()["items"]:
            assert has(found, re.split(r"[.\[\]]+", reason["figure"])), reason["figure"]
            assert reason["formula"]
            assert reason["source"]

    run(test)
