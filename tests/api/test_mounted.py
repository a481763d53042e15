"""Under a path that a reverse proxy puts in front, whether or not the proxy cuts it off."""

import pytest

from geartender.config import parse_settings
from geartender.errors import ConfigError
from tests.api.kit import Kit, run

BEHIND = {"root_path": "/vent", "allowed_hosts": ["https://glasshouse.example"]}
PROXIED = {"Host": "glasshouse.example", "Origin": "https://glasshouse.example"}


@pytest.mark.parametrize("prefix", ["", "/vent"])
def test_every_kind_of_address_is_found(prefix: str) -> None:
    async def test(kit: Kit) -> None:
        for path in ("/", "/journal", "/api/v1/servos", "/healthz", "/problems/busy"):
            assert (await kit.http.get(prefix + path, headers=PROXIED)).status_code == 200, path

    run(test, service=BEHIND)


@pytest.mark.parametrize("prefix", ["", "/vent"])
def test_what_is_made_for_the_outside_has_the_path_in_front(prefix: str) -> None:
    async def test(kit: Kit) -> None:
        moved = await kit.http.post(f"{prefix}/api/v1/servos/vent/moves", json={"to_deg": 1}, headers=PROXIED)
        assert moved.headers["location"] == "/vent/api/v1/servos/vent/motions/m-1"
        described = (await kit.http.get(f"{prefix}/api/v1/openapi.json", headers=PROXIED)).json()
        assert described["servers"] == [{"url": "/vent"}]

    run(test, service=BEHIND)


def test_stop_still_comes_before_everything() -> None:
    async def test(kit: Kit) -> None:
        kit.servo.confirmed.set()
        await kit.http.post("/vent/api/v1/servos/vent/stop", json={"category": 0}, headers=PROXIED)
        assert ("stop", 0) in [(call[0], call[-1]) for call in kit.servo.calls]

    run(test, service=BEHIND)


def test_the_door_holds_behind_it() -> None:
    async def test(kit: Kit) -> None:
        for headers in (
            PROXIED | {"Origin": "http://glasshouse.example"},
            PROXIED | {"Origin": "https://evil.example"},
            {"Host": "evil.example"},
        ):
            answer = await kit.http.get("/vent/api/v1/servos", headers=headers)
            assert (answer.status_code, answer.json()["type"]) == (403, "/problems/forbidden")

    run(test, service=BEHIND)


def test_a_path_that_only_begins_alike_is_another() -> None:
    async def test(kit: Kit) -> None:
        assert (await kit.http.get("/vents/", headers=PROXIED)).status_code == 404

    run(test, service=BEHIND)


@pytest.mark.parametrize("path", ["vent", "/vent/", "/api", "/static/x", "/a b", "//vent", "/vent?x"])
def test_a_path_that_would_not_work_is_refused(path: str) -> None:
    with pytest.raises(ConfigError):
        parse_settings({"service": {"root_path": path}})


@pytest.mark.parametrize("proxy", ["*", "proxy.local", "10.0.0.0/8", ""])
def test_a_proxy_is_one_exact_address(proxy: str) -> None:
    with pytest.raises(ConfigError, match="IP address"):
        parse_settings({"service": {"proxies": [proxy]}})
