"""The wiring over HTTP: a table or a drawing, of the servo's sheet or of any."""

from xml.etree import ElementTree as ET

import pytest

from geartender.build import build_document, load_build
from geartender.cli.running import ridge_vent
from tests.api.kit import Kit, run

SVG = {"Accept": "image/svg+xml"}
PATHS = (("GET", "/api/v1/servos/vent/wiring"), ("POST", "/api/v1/wiring"))


def sheet(**tables: object) -> dict[str, object]:
    return {**build_document(load_build(ridge_vent())), **tables}


@pytest.mark.parametrize(("method", "path"), PATHS)
def test_a_table_of_every_pin_with_parts_grounds_and_cautions(method: str, path: str) -> None:
    async def test(kit: Kit) -> None:
        answer = await kit.http.request(method, path, json=sheet() if method == "POST" else None)
        plan = answer.json()
        assert answer.status_code == 200
        enable = next(one for one in plan["connections"] if one["terminal"] == "enable")
        assert (enable["gpio"], enable["parts"], enable["direction"]) == (8, ["10 kΩ to ground"], "out")
        assert {one["part"] for one in plan["connections"]} >= {
            "Disc sensor A",
            "Disc sensor B",
            "Home sensor",
            "H-bridge",
        }
        assert any("ground" in line for line in plan["grounds"])
        assert any("emergency stop" in line for line in plan["cautions"])

    run(test)


@pytest.mark.parametrize(("method", "path"), PATHS)
def test_a_drawing_that_says_the_same(method: str, path: str) -> None:
    async def test(kit: Kit) -> None:
        answer = await kit.http.request(method, path, json=sheet() if method == "POST" else None, headers=SVG)
        assert answer.headers["content-type"] == "image/svg+xml"
        text = " ".join(ET.fromstring(answer.text).itertext())  # noqa: S314 - of our own making
        for word in ("Wiring of Ridge vent", "GPIO 8", "10 kΩ to ground", "100 nF to ground", "Disc sensor B"):
            assert word in text

    run(test)


def test_what_the_sheet_names_more_is_wired_too() -> None:
    async def test(kit: Kit) -> None:
        body = sheet(pulse={"enabled": True}, display={"kind": "ssd1306"})
        plan = (await kit.http.post("/api/v1/wiring", json=body)).json()
        assert {"RC receiver", "Display"} <= {one["part"] for one in plan["connections"]}

    run(test)


def test_a_sheet_with_mistakes_is_refused_with_all_of_them() -> None:
    async def test(kit: Kit) -> None:
        answer = await kit.http.post("/api/v1/wiring", json={"motor": {}})
        assert (answer.status_code, answer.json()["type"]) == (422, "/problems/invalid")
        assert len(answer.json()["errors"]) > 1

    run(test)
