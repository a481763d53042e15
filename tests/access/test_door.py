"""Every route and the live socket against foreign hosts, foreign pages and bodies that are not JSON.

The routes are read from the application, and what each may do from tests/access/routes.py.
"""

import json
import logging
from collections.abc import AsyncIterator
from typing import Any

import pytest
from fastapi.routing import iter_route_contexts

from geartender.access.door import BODY_MAX_BYTES
from tests.access.routes import MOVES_OR_CHANGES, ROUTES, SOCKETS, filled
from tests.api.kit import Kit, run

BODIES: dict[str, Any] = {
    "/moves": {"to_deg": 1},
    "/turns": {"speed_deg_s": 1},
    "/override": {"speed": 1},
    "/source": {"source": "host"},
    "/simulation": {"command": "jam"},
    "/proof": {"passphrase": "eight of them"},
    "/keys": {"name": "weather script"},
}

#: Answered with a refusal by a service that has nothing stored and nothing simulated.
FOUND_NOTHING = (
    "/build",
    "/simulation",
    "/notices/{id}",
    "/backup",
    "/sequences/{name}",
    "/runs",
    "/timetable/{name}",
    "/runs/{id}/stop",
    "/hold",
    "/resume",
    "/pairing",
    "/me",
    "/me/passphrase",
    "/credentials/{id}",
    "/answer",
    "/measured",
)

FOREIGN: dict[str, dict[str, str]] = {
    "foreign host": {"Host": "evil.example:8350"},
    "our host with another port": {"Host": "127.0.0.1:9"},
    "our host without its port": {"Host": "127.0.0.1"},
    "foreign origin": {"Origin": "http://evil.example"},
    "our origin with another port": {"Origin": "http://127.0.0.1:9"},
    "our origin with another scheme": {"Origin": "https://127.0.0.1:8350"},
    "null origin": {"Origin": "null"},
}
TEXT_BODIES: dict[str, dict[str, str]] = {
    "text": {"Content-Type": "text/plain"},
    "form": {"Content-Type": "application/x-www-form-urlencoded"},
    "json in disguise": {"Content-Type": "text/plain; application/json"},
    "no type": {},
}


def routes_of(kit: Kit) -> tuple[set[str], set[str]]:
    """All routes of the application, as `GET /path`, and the paths of its sockets."""
    requests, sockets = set(), set()
    for route in iter_route_contexts(kit.app.routes):
        if route.methods is None:
            sockets.add(route.path or "")
        else:
            requests |= {f"{method} {route.path}" for method in route.methods - {"HEAD"}}
    return requests, sockets


def test_every_route_is_written_down_here() -> None:
    async def test(kit: Kit) -> None:
        requests, sockets = routes_of(kit)
        assert requests == ROUTES.keys()
        assert sockets == SOCKETS.keys()

    run(test)


@pytest.mark.parametrize("case", FOREIGN)
def test_foreigners_are_refused_on_every_route(case: str) -> None:
    async def test(kit: Kit) -> None:
        for route in sorted(ROUTES):
            method, path = route.split()
            for asked in {method, "HEAD", "OPTIONS"}:
                answer = await kit.http.request(asked, filled(path), headers=FOREIGN[case])
                assert answer.status_code == 403, f"{asked} {path}"
                assert answer.headers["content-type"] == "application/problem+json"
                assert "access-control-allow-origin" not in answer.headers
                if asked != "HEAD":
                    assert answer.json()["type"] == "/problems/forbidden"
        assert kit.servo.calls == []

    run(test)


@pytest.mark.parametrize("case", FOREIGN)
def test_foreigners_are_refused_on_every_socket(case: str) -> None:
    async def test(kit: Kit) -> None:
        headers = {name.lower(): value for name, value in FOREIGN[case].items()}
        async with kit.socket(headers) as socket:
            assert [one["type"] for one in socket.sent] == [
                "websocket.http.response.start",
                "websocket.http.response.body",
            ]
            assert socket.sent[0]["status"] == 403
            assert json.loads(socket.sent[1]["body"])["type"] == "/problems/forbidden"
        assert kit.servo.listeners == []

    run(test)


def test_our_own_page_may_open_the_socket() -> None:
    async def test(kit: Kit) -> None:
        async with kit.socket({"origin": "http://127.0.0.1:8350"}) as socket:
            assert socket.sent[0]["type"] == "websocket.accept"

    run(test)


@pytest.mark.parametrize("case", TEXT_BODIES)
def test_only_json_bodies_get_in(case: str) -> None:
    async def test(kit: Kit) -> None:
        for route in sorted(one for one in ROUTES if not one.startswith("GET")):
            method, path = route.split()
            answer = await kit.http.request(method, filled(path), content=b'{"to_deg": 1}', headers=TEXT_BODIES[case])
            assert (answer.status_code, answer.json()["type"]) == (415, "/problems/not-json"), route
        assert kit.servo.calls == []

    run(test)


def test_nothing_moves_by_reading() -> None:
    async def test(kit: Kit) -> None:
        for route in sorted(ROUTES):
            path = filled(route.split()[1])
            for method in ("GET", "HEAD", "OPTIONS"):
                answer = await kit.http.request(method, path)
                assert answer.status_code < 500, route
        assert kit.servo.calls == []

    run(test)


def test_a_page_of_ours_may_do_what_it_is_for() -> None:
    async def test(kit: Kit) -> None:
        for route in sorted(MOVES_OR_CHANGES):
            method, path = route.split()
            body = next((one for end, one in BODIES.items() if path.endswith(end)), None)
            answer = await kit.http.request(
                method, filled(path), json=body, headers={"Origin": "http://127.0.0.1:8350"}
            )
            assert answer.status_code in {200, 201, 202} or path.endswith(FOUND_NOTHING), f"{route}: {answer.text}"

    run(test)


def test_an_unknown_method_is_told_the_known_ones() -> None:
    async def test(kit: Kit) -> None:
        for route in sorted(ROUTES):
            path = filled(route.split()[1])
            answer = await kit.http.request("PATCH", path)
            assert (answer.status_code, answer.json()["type"]) == (405, "/problems/method-not-allowed"), route
            known = {one.split()[0] for one in ROUTES if filled(one.split()[1]) == path}
            assert set(answer.headers["allow"].split(", ")) - {"HEAD"} == known

    run(test)


@pytest.mark.parametrize("size", [BODY_MAX_BYTES + 1, 10 * BODY_MAX_BYTES])
@pytest.mark.parametrize("chunked", [False, True])
@pytest.mark.parametrize("path", ["/api/v1/servos/vent/moves", "/api/v1/figures", "/api/v1/servos/vent/build"])
def test_a_body_too_large_is_refused_however_it_comes(path: str, chunked: bool, size: int) -> None:
    async def chunks() -> AsyncIterator[bytes]:
        for start in range(0, size, 4096):
            yield b" " * min(4096, size - start)

    async def test(kit: Kit) -> None:
        method = "PUT" if path.endswith("build") else "POST"
        content: Any = chunks() if chunked else b" " * size
        answer = await kit.http.request(method, path, content=content, headers={"Content-Type": "application/json"})
        assert (answer.status_code, answer.json()["type"]) == (413, "/problems/too-large")
        assert kit.servo.calls == []

    run(test)


def test_a_body_of_the_largest_size_gets_in() -> None:
    async def test(kit: Kit) -> None:
        body = b'{"to_deg": 1}'.ljust(BODY_MAX_BYTES)
        answer = await kit.http.post(
            "/api/v1/servos/vent/moves", content=body, headers={"Content-Type": "application/json"}
        )
        assert answer.status_code == 202

    run(test)


@pytest.mark.parametrize("path", ["/", "/api/v1/servos", "/nothing", "/problems/busy"])
def test_every_answer_has_the_security_headers(path: str) -> None:
    async def test(kit: Kit) -> None:
        headers = (await kit.http.get(path)).headers
        policy = headers["content-security-policy"]
        assert "unsafe" not in policy
        assert "script-src 'self'" in policy
        assert "frame-ancestors 'none'" in policy
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["referrer-policy"] == "no-referrer"
        assert "access-control-allow-origin" not in headers

    run(test)


def test_a_mistake_inside_tells_nothing_of_the_inside(caplog: pytest.LogCaptureFixture) -> None:
    async def test(kit: Kit) -> None:
        kit.servo.refusal = RuntimeError("the secret is 42")
        answer = await kit.http.post("/api/v1/servos/vent/arm")
        assert (answer.status_code, answer.json()["type"]) == (500, "/problems/failed")
        assert "42" not in answer.text
        assert "content-security-policy" in answer.headers

    with caplog.at_level(logging.ERROR):
        run(test)
    assert "the secret is 42" in caplog.text


def test_a_foreign_host_or_page_is_written_down_and_a_flood_of_them_does_not_fill_the_journal() -> None:
    async def test(kit: Kit) -> None:
        for _ in range(3):
            await kit.http.get("/healthz", headers={"Host": "evil.example:8350"})
        origin = "http://evil.example/\u00e9".encode("latin-1") + b"x" * 500
        await kit.http.post("/api/v1/servos/vent/stop", headers=[(b"Origin", origin)])
        for _ in range(500):
            await kit.http.get("/healthz", headers={"Host": "evil.example"})
        answer = await kit.http.get("/api/v1/journal", params={"kind": "access", "limit": 200})
        items = answer.json()["items"]
        assert len(items) <= 12
        assert items[-1]["text"] == "a request by the foreign host name evil.example:8350 was refused"
        assert items[-1]["result"] == "refused"
        page = next(one for one in items if "a page of" in one["text"])
        assert page["text"].startswith("a request by a page of http://evil.example/")
        assert len(page["text"]) < 150

    run(test)
