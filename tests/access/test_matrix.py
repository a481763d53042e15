"""Every route and the live socket × everybody who must not get in, each refused with the right problem; and those who must get in do.

The routes are read from the application; who may use each is written by hand in tests/access/routes.py.
"""

from __future__ import annotations

import asyncio
import itertools
import json
from collections.abc import Awaitable, Callable, Iterator
from dataclasses import replace
from datetime import timedelta

import pytest
from fastapi.routing import iter_route_contexts

from geartender.access.roles import Role, rule_of
from tests.access.people import Headers, admissions, from_address, phone, problem_in, script, shut
from tests.access.routes import FOR_ONE_SERVO, OPEN, ROUTES, SOCKETS, filled
from tests.api.kit import ORIGIN, Kit

NEXT_S = 2.0
"""s between two tries: the number of wrong ones in all is bounded, and that is another test's."""

Who = Callable[[Kit], Awaitable[Headers]]


async def nobody(_: Kit) -> Headers:
    return {}


async def wrong_key(_: Kit) -> Headers:
    return {"Authorization": "Bearer gt_" + "A" * 43}


async def wrong_session(_: Kit) -> Headers:
    return {"Cookie": "geartender-8350=gt_" + "A" * 43, "Origin": ORIGIN}


async def password(_: Kit) -> Headers:
    return {"Authorization": "Basic YWRtaW46YWRtaW4="}


async def expired_key(kit: Kit) -> Headers:
    headers = await script(kit, expires_at=kit.app.state.service.world.wall() + timedelta(minutes=1))
    await asyncio.sleep(61)
    return headers


async def forgotten_phone(kit: Kit) -> Headers:
    headers = await phone(kit)
    register = admissions(kit).register
    one = register.listed()[-1]
    register._all[one.id] = replace(one, created_at=one.created_at - timedelta(days=91))
    return headers


async def revoked_key(kit: Kit) -> Headers:
    headers = await script(kit)
    await admissions(kit).revoke(admissions(kit).register.listed()[-1].id, "the test")
    return headers


async def revoked_phone(kit: Kit) -> Headers:
    headers = await phone(kit)
    await admissions(kit).revoke(admissions(kit).register.listed()[-1].id, "the test")
    return headers


async def key_as_a_session(kit: Kit) -> Headers:
    key = (await script(kit))["Authorization"].removeprefix("Bearer ")
    return {"Cookie": f"geartender-8350={key}", "Origin": ORIGIN}


async def session_as_a_key(kit: Kit) -> Headers:
    secret = (await phone(kit))["Cookie"].partition("=")[2]
    return {"Authorization": f"Bearer {secret}"}


async def wrong_key_beside_a_good_session(kit: Kit) -> Headers:
    return {**await phone(kit), **await wrong_key(kit)}


NOT_LET_IN: tuple[Who, ...] = (
    nobody,
    wrong_key,
    wrong_session,
    password,
    expired_key,
    forgotten_phone,
    revoked_key,
    revoked_phone,
    key_as_a_session,
    session_as_a_key,
    wrong_key_beside_a_good_session,
)


def addresses() -> Iterator[str]:
    """Network addresses, each of another client."""
    for one, other in itertools.product(range(1, 255), range(1, 255)):
        yield f"10.1.{one}.{other}"


async def asked(kit: Kit, route: str, headers: Headers, address: str = "10.0.0.9") -> tuple[int, str]:
    """The refusal of a request to a route, or its status and nothing."""
    method, path = route.split()
    answer = await from_address(kit, address, method, filled(path), headers=headers)
    if answer.status_code < 400 or answer.headers["content-type"] != "application/problem+json":
        return answer.status_code, ""
    return problem_in(answer)


async def opened(kit: Kit, headers: Headers) -> tuple[int, str]:
    """The refusal of a socket, or 101 and nothing."""
    async with kit.socket({name.lower(): value for name, value in headers.items()}) as socket:
        first = socket.sent[0]
        if first["type"] == "websocket.accept":
            return 101, ""
        return first["status"], json.loads(socket.sent[1]["body"])["type"].removeprefix("/problems/")


@pytest.mark.parametrize("who", NOT_LET_IN, ids=lambda who: who.__name__)
def test_whoever_was_not_let_in_is_refused_everywhere(who: Who) -> None:
    async def test(kit: Kit) -> None:
        headers, address = await who(kit), addresses()
        for route, role in sorted(ROUTES.items()):
            await asyncio.sleep(NEXT_S)
            status, slug = await asked(kit, route, headers, next(address))
            if role == OPEN:
                assert status not in (401, 403) or route == "POST /api/v1/pairing", route
            else:
                assert (status, slug) == (401, "unauthenticated"), route
        assert kit.servo.calls == []
        if who is not nobody:  # nobody may still say who it is: the next test
            assert await opened(kit, headers) == (401, "unauthenticated")
        assert kit.servo.listeners == []

    shut(test)


def test_a_socket_that_does_not_say_who_it_is_is_closed() -> None:
    async def test(kit: Kit) -> None:
        for first in (None, {"type": "subscribe", "servo": "vent"}, {"type": "hello", "client": "me"}):
            async with kit.socket() as socket:
                if first is not None:
                    socket.say(**first)
                await socket.until(lambda: socket.close_code() is not None)
                assert socket.close_code() == 4401
                assert socket.messages() == []
        assert kit.servo.listeners == []

    shut(test)


@pytest.mark.parametrize("role", ["watch", "drive"])
@pytest.mark.parametrize("who", [script, phone], ids=["script", "phone"])
def test_a_role_that_is_too_low_is_refused(who: Callable[[Kit, str], Awaitable[Headers]], role: str) -> None:
    async def test(kit: Kit) -> None:
        headers = await who(kit, role)
        for route, needed in sorted(ROUTES.items()):
            if needed == OPEN or Role(role).allows(Role(needed)):
                continue
            assert await asked(kit, route, headers) == (403, "forbidden"), route
        assert kit.servo.calls == []

    shut(test)


@pytest.mark.parametrize("who", [script, phone], ids=["script", "phone"])
def test_the_role_that_is_needed_gets_in(who: Callable[[Kit, str], Awaitable[Headers]]) -> None:
    """Else the tests above would pass with a door that lets in nobody."""

    async def test(kit: Kit) -> None:
        for route, needed in sorted(ROUTES.items()):
            if needed != OPEN:
                status, slug = await asked(kit, route, await who(kit, needed))
                assert status != 401, route
                assert slug in {"", "invalid", "unknown", "revision-required", "not-json", "busy"}, f"{route}: {slug}"
        for needed in SOCKETS.values():
            assert await opened(kit, await who(kit, needed)) == (101, "")

    shut(test)


def test_a_key_to_another_servo_is_refused() -> None:
    async def test(kit: Kit) -> None:
        for route, needed in sorted(ROUTES.items()):
            if needed == OPEN:
                continue
            refused = await asked(kit, route, await script(kit, "manage", servo="louvre"))
            if "{servo}" in route:
                assert refused == (404, "unknown"), route
            elif route not in FOR_ONE_SERVO:
                assert refused == (403, "forbidden"), route
        assert kit.servo.calls == []
        headers = await script(kit, "manage", servo="louvre")
        assert (await kit.http.get("/api/v1/servos", headers=headers)).json()["items"] == []
        async with kit.socket({"authorization": headers["Authorization"]}) as socket:
            for type_ in ("subscribe", "jog", "stop"):
                socket.say(type=type_, servo="vent", **({"speed_deg_s": 1} if type_ == "jog" else {}))
            await socket.until(lambda: len(socket.messages()) == 3)
            assert {one["problem"]["type"] for one in socket.messages()} == {"/problems/unknown"}
        assert kit.servo.calls == []

    shut(test)


WRONG_PLACES: dict[str, Headers] = {
    "foreign host": {"Host": "evil.example:8350"},
    "our host with another port": {"Host": "127.0.0.1:9"},
    "foreign origin": {"Origin": "http://evil.example"},
    "null origin": {"Origin": "null"},
    "our origin over TLS": {"Origin": "https://127.0.0.1:8350"},
}


@pytest.mark.parametrize("place", WRONG_PLACES)
@pytest.mark.parametrize("who", [script, phone], ids=["script", "phone"])
def test_whoever_comes_from_a_wrong_place_is_refused_everywhere(who: Who, place: str) -> None:
    async def test(kit: Kit) -> None:
        headers = {**await who(kit), **WRONG_PLACES[place]}
        for route in sorted(ROUTES):
            assert await asked(kit, route, headers) == (403, "forbidden"), route
        assert await opened(kit, headers) == (403, "forbidden")
        assert kit.servo.calls == []
        assert kit.servo.listeners == []

    shut(test)


def test_a_session_without_an_origin_changes_nothing() -> None:
    async def test(kit: Kit) -> None:
        headers = {"Cookie": (await phone(kit))["Cookie"]}
        for route, needed in sorted(ROUTES.items()):
            if needed != OPEN and not route.startswith("GET"):
                assert await asked(kit, route, headers) == (403, "forbidden"), route
        assert await opened(kit, headers) == (403, "forbidden")
        assert kit.servo.calls == []

    shut(test)


@pytest.mark.parametrize("kind", ["text/plain", "application/x-www-form-urlencoded", "multipart/form-data", ""])
def test_a_body_that_any_page_may_send_is_refused(kind: str) -> None:
    async def test(kit: Kit) -> None:
        headers = await phone(kit)
        for route in sorted(ROUTES):
            method, path = route.split()
            if method != "GET":
                answer = await kit.http.request(
                    method, filled(path), content=b"{}", headers={**headers, **({"Content-Type": kind} if kind else {})}
                )
                assert problem_in(answer) == (415, "not-json"), route
        assert kit.servo.calls == []

    shut(test)


def test_what_moves_or_changes_does_not_answer_a_plain_get() -> None:
    async def test(kit: Kit) -> None:
        headers = await script(kit)
        for route in sorted(ROUTES):
            path = route.split()[1]
            if f"GET {path}" not in ROUTES:
                answer = await kit.http.get(filled(path), headers=headers)
                assert problem_in(answer) == (405, "method-not-allowed"), route
        assert kit.servo.calls == []

    shut(test)


def test_what_nothing_has_is_not_told_to_strangers() -> None:
    async def test(kit: Kit) -> None:
        for path in ("/docs", "/redoc", "/api/v1/nothing", "/api/v1/servos/vent/nothing", "/admin", "/openapi.json"):
            assert problem_in(await kit.http.get(path)) == (401, "unauthenticated"), path
            assert problem_in(await kit.http.get(path, headers=await script(kit, "watch"))) == (404, "unknown"), path

    shut(test)


def test_every_route_says_itself_what_is_written_here() -> None:
    async def test(kit: Kit) -> None:
        for route in iter_route_contexts(kit.app.routes):
            rule = rule_of(route.endpoint)
            for name in [f"{method} {route.path}" for method in (route.methods or set()) - {"HEAD"}] or [route.path]:
                assert rule is not None, name
                assert {**ROUTES, **SOCKETS}[str(name)] == (rule.role or OPEN), name
                if "{servo}" not in str(name) and rule.role is not None and name not in SOCKETS:
                    assert rule.any_servo == (name in FOR_ONE_SERVO), name

    shut(test)


def test_a_route_that_does_not_say_who_may_use_it_is_refused_to_everybody() -> None:
    async def test(kit: Kit) -> None:
        async def forgotten() -> str:
            raise AssertionError("it was called")

        kit.app.add_api_route("/forgotten", forgotten)
        for headers in ({}, await script(kit), await phone(kit)):
            assert problem_in(await kit.http.get("/forgotten", headers=headers)) == (403, "forbidden")

    shut(test)
