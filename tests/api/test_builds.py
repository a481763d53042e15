import tomllib
from pathlib import Path

import pytest

from geartender.api.shelf import FolderShelf, MemoryShelf
from geartender.build import parse_build
from geartender.errors import Busy
from tests.api.kit import Kit, run

PATH = "/api/v1/servos/vent/build"


class FullDisk(MemoryShelf):
    async def write(self, name: str, text: str) -> None:
        raise OSError(28, "No space left on device")


def test_a_sheet_comes_with_a_strong_tag_and_not_twice() -> None:
    async def test(kit: Kit) -> None:
        answer = await kit.http.get(PATH)
        tag = answer.headers["etag"]
        assert tag.startswith('"')
        assert parse_build(answer.json()).name == kit.servo.sheet.name
        again = await kit.http.get(PATH, headers={"If-None-Match": f'"other", W/{tag}'})
        assert (again.status_code, again.content, again.headers["etag"]) == (304, b"", tag)

    run(test)


def test_a_change_needs_the_tag_of_what_it_changes() -> None:
    async def test(kit: Kit) -> None:
        first = await kit.http.get(PATH)
        sheet, tag = {**first.json(), "note": "changed"}, first.headers["etag"]
        without = await kit.http.put(PATH, json=sheet)
        assert (without.status_code, without.json()["type"]) == (428, "/problems/revision-required")
        weak = await kit.http.put(PATH, json=sheet, headers={"If-Match": f"W/{tag}"})
        assert (weak.status_code, weak.json()["type"]) == (412, "/problems/stale")
        exists = await kit.http.put(PATH, json=sheet, headers={"If-None-Match": "*"})
        assert exists.status_code == 412
        assert kit.servo.calls == []
        good = await kit.http.put(PATH, json=sheet, headers={"If-Match": tag})
        assert (good.status_code, good.json()["note"]) == (200, "changed")
        now = await kit.http.get(PATH)
        assert (now.json(), now.headers["etag"]) == (good.json(), good.headers["etag"])
        assert now.headers["etag"] != tag
        late = await kit.http.put(PATH, json=sheet, headers={"If-Match": tag})
        assert (late.status_code, late.json()["etag"]) == (412, now.headers["etag"])

    run(test)


def test_a_wrong_sheet_is_told_before_its_revision() -> None:
    async def test(kit: Kit) -> None:
        sheet = (await kit.http.get(PATH)).json()
        sheet["mesh"][0]["driven_teeth"] = 0
        sheet["disk"] = {}
        answer = await kit.http.put(PATH, json=sheet)
        assert answer.status_code == 422
        assert {mistake["pointer"] for mistake in answer.json()["errors"]} == {"#/mesh/0/driven_teeth", "#/disk"}

    run(test)


def test_a_sheet_is_kept_on_disk(tmp_path: Path) -> None:
    async def test(kit: Kit) -> None:
        first = await kit.http.get(PATH)
        headers = {"If-Match": first.headers["etag"]}
        await kit.http.put(PATH, json={**first.json(), "name": "East vent"}, headers=headers)

    shelf = MemoryShelf()
    run(test, shelf=shelf)
    kept = shelf.read("servos/vent/build.toml")
    assert kept is not None
    assert tomllib.loads(kept)["name"] == "East vent"

    async def later(kit: Kit) -> None:
        assert (await kit.http.get(PATH)).json()["name"] == "East vent"

    run(later, shelf=shelf)


def test_a_sheet_that_cannot_be_kept_is_not_put_in_force() -> None:
    async def test(kit: Kit) -> None:
        first = await kit.http.get(PATH)
        changed = {**first.json(), "note": "lost"}
        answer = await kit.http.put(PATH, json=changed, headers={"If-Match": first.headers["etag"]})
        assert (answer.status_code, answer.json()["type"]) == (500, "/problems/failed")
        assert "space" not in answer.text
        assert (await kit.http.get(PATH)).headers["etag"] == first.headers["etag"]

    run(test, shelf=FullDisk())


def test_a_busy_servo_keeps_its_sheet() -> None:
    async def test(kit: Kit) -> None:
        first = await kit.http.get(PATH)
        kit.servo.refusal = Busy("only while disarmed")
        answer = await kit.http.put(PATH, json=first.json(), headers={"If-Match": "*"})
        assert (answer.status_code, answer.json()["type"]) == (409, "/problems/busy")

    run(test)


def test_figures_of_the_servo_and_of_any_sheet() -> None:
    async def test(kit: Kit) -> None:
        sheet = (await kit.http.get(PATH)).json()
        mine = await kit.http.get("/api/v1/servos/vent/figures")
        any_sheet = await kit.http.post("/api/v1/figures", json=sheet)
        assert mine.json() == any_sheet.json()
        assert mine.json()["deg_per_count"] > 0
        wrong = await kit.http.post("/api/v1/figures", json={"motor": {}})
        assert wrong.status_code == 422

    run(test)


@pytest.mark.parametrize(
    "body", [b'{"disc": {"marks_per_turn": NaN}}', b'{"name": "\\ud800"}', b'{"mesh": 1e999}', b"[1]"]
)
def test_nonsense_sheets_are_problems(body: bytes) -> None:
    async def test(kit: Kit) -> None:
        for method, path in (("POST", "/api/v1/figures"), ("PUT", PATH)):
            answer = await kit.http.request(method, path, content=body, headers={"Content-Type": "application/json"})
            assert answer.status_code == 422, answer.text

    run(test)


async def _written(folder: Path) -> str | None:
    shelf = FolderShelf(folder)
    await shelf.write("servos/vent/build.toml", "a = 1\n")
    await shelf.write("servos/vent/build.toml", "a = 2\n")
    return shelf.read("servos/vent/build.toml")


def test_a_folder_keeps_the_last_text_and_nothing_beside_it(tmp_path: Path) -> None:
    import asyncio

    assert asyncio.run(_written(tmp_path)) == "a = 2\n"
    assert [path.name for path in (tmp_path / "servos/vent").iterdir()] == ["build.toml"]
    assert FolderShelf(tmp_path).read("servos/other/build.toml") is None
