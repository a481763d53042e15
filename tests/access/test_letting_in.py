"""Letting phones and scripts in, proving who one is, and letting in no longer."""

from __future__ import annotations

import asyncio
import json
import re
from datetime import timedelta
from typing import Any

import httpx
import pytest

from geartender.access.backoff import FREE
from geartender.access.limits import Rate, Rates
from geartender.access.register import LOOK_EVERY_S
from geartender.access.roles import Role
from geartender.errors import NotStored
from geartender.servo.motions import Who
from geartender.store.journal_rows import Search
from tests.access.people import Headers, admissions, from_address, phone, problem_in, script, shut
from tests.api.kit import ORIGIN, Kit

PASSPHRASE = {"passphrase": "open the vent"}


async def entries(kit: Kit) -> list[tuple[str, str]]:
    """Who and what, of the journal's entries about who is let in, oldest first."""
    page = await kit.app.state.service.store.journal.page(Search(kinds=("access",)), limit=100)
    return [(entry.note.who, entry.note.text) for entry in reversed(page.entries)]


async def invited(kit: Kit, headers: Headers, role: str = "drive") -> dict[str, Any]:
    answer = await kit.http.post("/api/v1/pairing/offers", json={"role": role}, headers=headers)
    assert answer.status_code == 201, answer.text
    made: dict[str, Any] = answer.json()
    return made


async def paired(kit: Kit, address: str = "10.0.0.7", **body: Any) -> httpx.Response:
    return await from_address(kit, address, "POST", "/api/v1/pairing", json={"name": "kitchen phone", **body})


def test_a_phone_is_invited_and_lets_itself_in_once() -> None:
    async def test(kit: Kit) -> None:
        offer = await invited(kit, await script(kit))
        assert re.fullmatch(r"\d{6}", offer["code"])
        assert offer["address"] == f"http://127.0.0.1:8350/#pair={offer['secret']}"
        assert offer["qr_svg"].startswith("<svg ")
        answer = await paired(kit, code=f"{offer['code'][:3]} {offer['code'][3:]}")
        assert answer.status_code == 201
        me = answer.json()
        assert (me["kind"], me["name"], me["role"], me["proof"]) == ("phone", "kitchen phone", "drive", "given")
        given = answer.headers["set-cookie"]
        assert "HttpOnly" in given
        assert "SameSite=Strict" in given
        headers = {"Cookie": given.partition(";")[0], "Origin": ORIGIN}
        assert (await kit.http.get("/api/v1/me", headers=headers)).json()["id"] == me["id"]
        assert (await kit.http.post("/api/v1/servos/vent/arm", headers=headers)).status_code == 200
        assert kit.servo.calls[-1][1].label == "kitchen phone"
        for again in ({"code": offer["code"]}, {"secret": offer["secret"]}):
            assert problem_in(await paired(kit, **again)) == (401, "unauthenticated")
        assert (await entries(kit))[-3:-1] == [
            ("kitchen phone", "kitchen phone was paired with the role drive, invited by script"),
            ("10.0.0.7", "a wrong pairing code was refused"),
        ]

    shut(test)


def test_two_phones_of_one_name_are_told_apart() -> None:
    async def test(kit: Kit) -> None:
        key = await script(kit)
        names = [(await paired(kit, secret=(await invited(kit, key))["secret"])).json()["name"] for _ in range(3)]
        assert names == ["kitchen phone", "kitchen phone 2", "kitchen phone 3"]

    shut(test)


@pytest.mark.parametrize(
    "body",
    [
        {},
        {"code": "123456", "secret": "gt_x"},
        {"code": "1" * 17},
        {"secret": "x" * 129},
        {"code": "123456", "name": ""},
        {"code": "123456", "name": "a\nb"},
        {"code": "123456", "name": "\u202eright to left"},
        {"code": "123456", "name": "\ud800"},
        {"code": "123456", "name": "x" * 65},
        {"code": "123456", "passphrase": "short"},
    ],
)
def test_a_request_to_pair_that_makes_no_sense_is_refused_and_is_no_try(body: dict[str, Any]) -> None:
    async def test(kit: Kit) -> None:
        for _ in range(FREE + 3):
            content = json.dumps({"name": "kitchen phone", **body}).encode()
            answer = await kit.http.post(
                "/api/v1/pairing", content=content, headers={"Content-Type": "application/json"}
            )
            assert problem_in(answer) == (422, "invalid")
            assert "short" not in answer.text
        offer = await invited(kit, await script(kit))
        assert (await paired(kit, code=offer["code"])).status_code == 201

    shut(test)


def test_wrong_codes_cost_more_and_more_time_and_the_right_one_is_not_looked_at_meanwhile() -> None:
    async def test(kit: Kit) -> None:
        offer = await invited(kit, await script(kit))
        for _ in range(FREE + 1):
            assert problem_in(await paired(kit, code="abcdef")) == (401, "unauthenticated")
        answer = await paired(kit, secret=offer["secret"])
        assert problem_in(answer) == (429, "too-many-attempts")
        assert answer.headers["retry-after"] == "1"
        assert (await paired(kit, "10.0.0.8", secret=offer["secret"])).status_code == 201
        await asyncio.sleep(1.0)
        assert problem_in(await paired(kit, code="abcdef")) == (401, "unauthenticated")

    shut(test)


def test_wrong_keys_are_told_to_wait_and_a_right_one_gets_in_all_the_same() -> None:
    async def test(kit: Kit) -> None:
        right, wrong = await script(kit), {"Authorization": "Bearer gt_wrong"}
        seen = [
            problem_in(await from_address(kit, "10.0.0.6", "GET", "/api/v1/servos", headers=wrong))[1]
            for _ in range(50)
        ]
        assert seen == ["unauthenticated"] * (FREE + 1) + ["too-many-attempts"] * (49 - FREE)
        assert (await from_address(kit, "10.0.0.6", "GET", "/api/v1/servos", headers=right)).status_code == 200

    shut(test)


def test_a_flood_of_wrong_tries_does_not_fill_the_journal() -> None:
    async def test(kit: Kit) -> None:
        for number in range(300):
            wrong = {"Authorization": f"Bearer gt_{number}"}
            await from_address(kit, f"10.2.0.{number % 250}", "GET", "/api/v1/servos", headers=wrong)
        assert len(await entries(kit)) == 10
        await asyncio.sleep(120)
        await from_address(kit, "10.3.0.1", "GET", "/api/v1/servos", headers={"Authorization": "Bearer gt_last"})
        who, text = (await entries(kit))[-1]
        assert who == "10.3.0.1"
        assert re.fullmatch(r"a wrong key was refused, and \d+ tries before it", text)

    shut(test)


def test_what_a_role_does_not_allow_is_written_down() -> None:
    async def test(kit: Kit) -> None:
        watcher = await script(kit, "watch", name="watcher")
        await kit.http.post("/api/v1/servos/vent/moves", json={"to_deg": 5}, headers=watcher)
        assert (await entries(kit))[-1] == ("watcher", "POST /api/v1/servos/{servo}/moves was refused")

    shut(test)


def test_a_key_is_shown_once_and_says_in_the_journal_who_it_is() -> None:
    async def test(kit: Kit) -> None:
        manager = await script(kit, name="boss")
        until = (kit.app.state.service.world.wall() + timedelta(days=1)).isoformat()
        made = await kit.http.post(
            "/api/v1/keys",
            json={"name": "weather", "role": "drive", "servo": "vent", "expires_at": until},
            headers=manager,
        )
        assert made.status_code == 201
        key, headers = made.json()["key"], {"Authorization": f"Bearer {made.json()['key']}"}
        listed = (await kit.http.get("/api/v1/credentials", headers=manager)).json()["items"]
        assert [one["name"] for one in listed] == ["boss", "weather"]
        assert key not in json.dumps(listed)
        assert [one["you"] for one in listed] == [True, False]
        assert (listed[1]["servo"], listed[1]["valid"], listed[1]["last_used_at"]) == ("vent", True, None)
        assert (await kit.http.post("/api/v1/servos/vent/arm", headers=headers)).status_code == 200
        assert (kit.servo.calls[-1][1].label, kit.servo.calls[-1][1].role) == ("weather", "drive")
        await asyncio.sleep(86_400)
        assert problem_in(await kit.http.get("/api/v1/me", headers=headers)) == (401, "unauthenticated")
        assert (await entries(kit))[1] == ("boss", "key weather with the role drive by boss")

    shut(test)


@pytest.mark.parametrize(
    ("body", "slug"),
    [
        ({"name": "x", "servo": "louvre"}, "unknown"),
        ({"name": "x", "expires_at": "2031-02-28T00:00:00Z"}, "invalid"),
        ({"name": "x", "expires_at": "9999-12-31T23:59:59-14:00"}, "invalid"),
        ({"name": "x", "expires_at": "0001-01-01T00:00:00+14:00"}, "invalid"),
        ({"name": "x", "expires_at": "2031-04-01T00:00:00"}, "invalid"),
        ({"name": "x", "role": "owner"}, "invalid"),
        ({"role": "watch"}, "invalid"),
    ],
)
def test_a_key_that_makes_no_sense_is_refused(body: dict[str, Any], slug: str) -> None:
    async def test(kit: Kit) -> None:
        manager = await script(kit)
        assert problem_in(await kit.http.post("/api/v1/keys", json=body, headers=manager))[1] == slug
        assert len(admissions(kit).register.listed()) == 1

    shut(test)


def test_a_phone_has_to_prove_that_it_is_its_owner_before_limits_are_changed() -> None:
    async def test(kit: Kit) -> None:
        headers = await phone(kit, passphrase=PASSPHRASE["passphrase"])

        async def change(**changes: Any) -> httpx.Response:
            sheet = await kit.http.get("/api/v1/servos/vent/build", headers=headers)
            body = {**sheet.json(), **changes}
            return await kit.http.put(
                "/api/v1/servos/vent/build", json=body, headers={**headers, "If-Match": sheet.headers["etag"]}
            )

        travel = {"travel": {**kit.servo.sheet.travel.model_dump(exclude_none=True), "max_deg": 40.0}}  # type: ignore[union-attr]
        assert (await change(**travel)).status_code == 200, "it was paired just now"
        await asyncio.sleep(601)
        travel["travel"]["max_deg"] = 50.0
        refused = await change(**travel)
        assert problem_in(refused) == (403, "proof-needed")
        assert refused.json()["proof"] == "passphrase"
        assert (await kit.http.get("/api/v1/me", headers=headers)).json()["proof"] == "passphrase"
        assert (await change(note="only words")).status_code == 200
        wrong = await kit.http.post("/api/v1/me/proof", json={"passphrase": "close the vent"}, headers=headers)
        assert problem_in(wrong) == (403, "proof-needed")
        assert problem_in(await change(**travel)) == (403, "proof-needed")
        assert (await kit.http.post("/api/v1/me/proof", json=PASSPHRASE, headers=headers)).json()["proof"] == "given"
        assert (await change(**travel)).status_code == 200
        await asyncio.sleep(301)
        travel["travel"]["max_deg"] = 60.0
        assert problem_in(await change(**travel)) == (403, "proof-needed")

    shut(test)


def test_a_run_of_the_bench_changes_what_the_board_trusts_and_asks_for_the_same_proof() -> None:
    async def test(kit: Kit) -> None:
        headers = await phone(kit, passphrase=PASSPHRASE["passphrase"])
        await asyncio.sleep(601)

        async def begin(headers: Headers) -> httpx.Response:
            return await kit.http.post("/api/v1/bench/cook/runs", json={}, headers=headers)

        refused = await begin(headers)
        assert problem_in(refused) == (403, "proof-needed")
        assert refused.json()["proof"] == "passphrase"
        assert problem_in(await begin(await script(kit))) == (404, "unknown"), "a key proves itself by being sent"
        await kit.http.post("/api/v1/me/proof", json=PASSPHRASE, headers=headers)
        assert problem_in(await begin(headers)) == (404, "unknown"), "it gets on, to a procedure that there is not"

    shut(test)


def test_without_a_passphrase_it_is_paired_again() -> None:
    async def test(kit: Kit) -> None:
        headers = await phone(kit)
        await asyncio.sleep(601)
        for method, path, body in (
            ("POST", "/api/v1/me/proof", PASSPHRASE),
            ("PUT", "/api/v1/me/passphrase", PASSPHRASE),
            ("POST", "/api/v1/pairing/offers", {"role": "manage"}),
            ("POST", "/api/v1/keys", {"name": "x", "role": "manage"}),
        ):
            refused = await kit.http.request(method, path, json=body, headers=headers)
            assert problem_in(refused) == (403, "proof-needed"), path
            assert refused.json()["proof"] == "pair-again"
        again = await phone(kit, name="again")
        assert (await kit.http.put("/api/v1/me/passphrase", json=PASSPHRASE, headers=again)).status_code == 200
        await asyncio.sleep(601)
        assert (await kit.http.post("/api/v1/me/proof", json=PASSPHRASE, headers=again)).json()["proof"] == "given"

    shut(test)


def test_whoever_drives_may_be_invited_without_a_proof_but_nobody_is_made_a_manager() -> None:
    async def test(kit: Kit) -> None:
        headers = await phone(kit, passphrase=PASSPHRASE["passphrase"])
        driver = await script(kit, "drive", name="driver")
        await asyncio.sleep(601)
        assert (await invited(kit, headers, "drive"))["role"] == "drive"
        one = next(one for one in admissions(kit).register.listed() if one.name == "driver")
        refused = await kit.http.put(f"/api/v1/credentials/{one.id}", json={"role": "manage"}, headers=headers)
        assert problem_in(refused) == (403, "proof-needed")
        assert (await kit.http.get("/api/v1/me", headers=driver)).json()["role"] == "drive"

    shut(test)


def test_wrong_passphrases_cost_more_and_more_time_for_that_phone_alone() -> None:
    async def test(kit: Kit) -> None:
        one = await phone(kit, passphrase=PASSPHRASE["passphrase"])
        other = await phone(kit, name="other", passphrase=PASSPHRASE["passphrase"])
        await asyncio.sleep(601)

        async def prove(headers: Headers, passphrase: str) -> httpx.Response:
            return await kit.http.post("/api/v1/me/proof", json={"passphrase": passphrase}, headers=headers)

        for number in range(FREE + 1):
            assert problem_in(await prove(one, f"wrong one {number}")) == (403, "proof-needed")
        assert problem_in(await prove(one, PASSPHRASE["passphrase"])) == (429, "too-many-attempts")
        assert (await prove(other, PASSPHRASE["passphrase"])).status_code == 200
        await asyncio.sleep(1.0)
        assert (await prove(one, PASSPHRASE["passphrase"])).status_code == 200

    shut(test)


@pytest.mark.parametrize("how", ["revoked", "another role", "forgets itself", "expires"])
def test_sockets_and_jogs_of_one_that_is_let_in_no_longer_end_within_a_second(how: str) -> None:
    async def test(kit: Kit) -> None:
        boss = await script(kit, name="boss")
        expires = kit.app.state.service.world.wall() + timedelta(seconds=5) if how == "expires" else None
        driver = await script(kit, "drive", name="driver", expires_at=expires)
        one = admissions(kit).register.listed()[-1]
        async with kit.socket({"authorization": driver["Authorization"]}) as socket:
            socket.say(type="hello", client="thumb")
            socket.say(type="subscribe", servo="vent")
            for _ in range(3):
                socket.say(type="jog", servo="vent", speed_deg_s=5)
                await asyncio.sleep(0.1)
            assert kit.servo.names()[-1] == "jog"
            jogs = asyncio.create_task(keep_jogging(socket))
            kit.servo.holder = Who(f"{one.id}/thumb", "driver", credential=one.id)
            listed = (await kit.http.get("/api/v1/credentials", headers=boss)).json()["items"]
            assert [(each["name"], each["helm"]) for each in listed] == [("boss", []), ("driver", ["vent"])]
            if how == "revoked":
                assert (await kit.http.delete(f"/api/v1/credentials/{one.id}", headers=boss)).status_code == 204
            elif how == "another role":
                body = {"role": "watch"}
                await kit.http.put(f"/api/v1/credentials/{one.id}", json=body, headers=boss)
            elif how == "forgets itself":
                assert (await kit.http.delete("/api/v1/me", headers=driver)).status_code == 204
            else:
                await asyncio.sleep(4.0)
            await asyncio.sleep(1.0)
            assert socket.close_code() == 4401
            assert "end_jog" in kit.servo.names()
            assert kit.servo.listeners == []
            jogs.cancel()
            if how != "expires":
                assert "give_helm" in kit.servo.names()
        status = (await kit.http.get("/api/v1/me", headers=driver)).status_code
        assert status == (200 if how == "another role" else 401)

    shut(test)


async def keep_jogging(socket: Any) -> None:
    while True:
        socket.say(type="jog", servo="vent", speed_deg_s=5)
        await asyncio.sleep(0.1)


def test_a_watcher_may_stop_and_look_on_the_socket_but_not_jog() -> None:
    async def test(kit: Kit) -> None:
        async with kit.socket({"authorization": (await script(kit, "watch"))["Authorization"]}) as socket:
            socket.say(type="subscribe", servo="vent")
            socket.say(type="jog", servo="vent", speed_deg_s=5)
            socket.say(type="stop", servo="vent", category=0)
            await socket.until(lambda: any("problem" in one for one in socket.messages()))
            await asyncio.sleep(0.1)
            assert kit.servo.names() == ["stop"]
            (refused,) = [one for one in socket.messages() if "problem" in one]
            assert refused["problem"]["type"] == "/problems/forbidden"

    shut(test)


def test_the_first_message_of_a_socket_may_bring_the_key() -> None:
    async def test(kit: Kit) -> None:
        key = (await script(kit, "drive", name="driver"))["Authorization"].removeprefix("Bearer ")
        async with kit.socket() as socket:
            socket.say(type="hello", client="thumb", key=key)
            socket.say(type="jog", servo="vent", speed_deg_s=5)
            await asyncio.sleep(0.1)
            assert kit.servo.calls[0][1].label == "driver"
            assert key not in repr(kit.servo.calls)

    shut(test)


def test_a_wrong_key_in_the_first_message_closes_the_socket_and_is_a_wrong_try() -> None:
    async def test(kit: Kit) -> None:
        async with kit.socket() as socket:
            socket.say(type="hello", client="thumb", key="gt_wrong")
            await socket.until(lambda: socket.close_code() is not None)
            assert socket.close_code() == 4401
        assert (await entries(kit))[-1][1] == "a wrong key was refused"

    shut(test)


def test_one_phone_does_not_take_all_the_sockets() -> None:
    async def test(kit: Kit) -> None:
        async def open_(headers: Headers, number: int) -> list[int | None]:
            sockets = [kit.socket({"authorization": headers["Authorization"]}) for _ in range(number)]
            for socket in sockets:
                await socket.__aenter__()
            await asyncio.sleep(0.1)
            return [socket.close_code() for socket in sockets]

        assert await open_(await script(kit, name="greedy"), 36) == [None] * 32 + [4429] * 4
        assert await open_(await script(kit, name="modest"), 1) == [None]
        for task in asyncio.all_tasks():
            if task is not asyncio.current_task() and "Socket" in repr(task.get_coro()):
                task.cancel()

    shut(test)


def test_a_socket_that_sends_without_end_is_cut_off_but_its_stops_are_obeyed() -> None:
    async def test(kit: Kit) -> None:
        headers = {"authorization": (await script(kit, "drive"))["Authorization"]}
        async with kit.socket(headers) as socket:
            for _ in range(3000):
                socket.say(type="stop", servo="vent")
            await asyncio.sleep(0.1)
            assert kit.servo.names().count("stop") == 3000
            assert socket.close_code() is None
        async with kit.socket(headers) as socket:
            for _ in range(3000):
                socket.say(type="subscribe", servo="vent")
            await asyncio.sleep(0.1)
            assert socket.close_code() == 4429

    shut(test)


def test_nobody_takes_anothers_place_by_its_name() -> None:
    async def test(kit: Kit) -> None:
        headers = [await script(kit, "drive", name=name) for name in ("one", "other")]
        for each in headers:
            await kit.http.post("/api/v1/servos/vent/helm", headers={**each, "Geartender-Client": "thumb"})
        one, other = (call[1] for call in kit.servo.calls)
        assert one.client != other.client
        assert (one.label, other.label) == ("one", "other")

    shut(test)


def test_the_last_who_manages_is_not_lost_by_mistake() -> None:
    async def test(kit: Kit) -> None:
        headers = await phone(kit)
        one = admissions(kit).register.listed()[0]
        for method, path, body in (
            ("DELETE", "/api/v1/me", None),
            ("DELETE", f"/api/v1/credentials/{one.id}", None),
            ("PUT", f"/api/v1/credentials/{one.id}", {"role": "watch"}),
        ):
            refused = await kit.http.request(method, path, json=body, headers=headers)
            assert problem_in(refused) == (409, "last-manager"), path
            assert "geartender pair --role manage" in refused.json()["detail"]
        gone = await kit.http.delete("/api/v1/me?anyway=true", headers=headers)
        assert gone.status_code == 204
        assert "Max-Age=0" in gone.headers["set-cookie"]
        assert admissions(kit).register.managers() == []

    shut(test)


def test_a_phone_is_named_anew_and_its_past_stays_under_the_old_name() -> None:
    async def test(kit: Kit) -> None:
        headers = await phone(kit, "watch", name="phone")
        me = await kit.http.put("/api/v1/me", json={"name": " potting shed "}, headers=headers)
        assert me.json()["name"] == "potting shed"
        assert (await entries(kit))[-1] == ("phone", "phone is called potting shed now")

    shut(test)


def test_a_revoked_one_is_not_found_again() -> None:
    async def test(kit: Kit) -> None:
        boss = await script(kit, name="boss")
        await script(kit, "drive", name="driver")
        one = admissions(kit).register.listed()[-1]
        for expected in (204, 404):
            answer = await kit.http.delete(f"/api/v1/credentials/{one.id}", headers=boss)
            assert answer.status_code == expected
        assert await kit.app.state.service.store.credentials() != []

    shut(test)


def test_while_nothing_can_be_kept_a_phone_is_let_in_for_now_and_a_key_is_not_given_out() -> None:
    async def test(kit: Kit) -> None:
        service = kit.app.state.service
        boss = await script(kit, name="boss")
        offer = await invited(kit, boss)
        put, kept = service.store.put_credentials, []

        async def full(*_: object) -> None:
            raise NotStored("The disk is full.")

        async def again(*changed: Any) -> None:
            kept.extend(changed)
            await put(*changed)

        service.store.put_credentials = full
        assert (await paired(kit, secret=offer["secret"])).status_code == 201
        refused = await kit.http.post("/api/v1/keys", json={"name": "x"}, headers=boss)
        assert problem_in(refused) == (503, "not-stored")
        assert [one.name for one in service.admissions.register.listed()] == ["boss", "kitchen phone"]
        service.store.put_credentials = again
        await asyncio.sleep(LOOK_EVERY_S + 1)
        assert "kitchen phone" in [one.name for one in kept]

    shut(test)


def test_over_tls_the_cookie_is_for_this_host_alone() -> None:
    async def test(kit: Kit) -> None:
        made = admissions(kit).invite(Role.DRIVE, "the test")
        headers = {"Host": "vent.example", "Origin": "https://vent.example"}
        answer = await kit.http.post("/api/v1/pairing", json={"name": "x", "secret": made.secret}, headers=headers)
        given = answer.headers["set-cookie"]
        assert given.startswith("__Host-geartender-8350=gt_")
        assert given.endswith("Path=/; HttpOnly; SameSite=Strict; Secure")
        cookie = given.partition(";")[0]
        assert (await kit.http.get("/api/v1/me", headers={**headers, "Cookie": cookie})).status_code == 200
        plain = await kit.http.get("/api/v1/me", headers={"Cookie": cookie})
        assert plain.status_code == 401

    shut(test, service={"allowed_hosts": ["https://vent.example"]})


def test_too_many_requests_are_refused_but_never_a_stop() -> None:
    async def test(kit: Kit) -> None:
        headers = await script(kit)
        kit.servo.confirmed.set()
        codes = [(await kit.http.get("/api/v1/servos", headers=headers)).status_code for _ in range(15)]
        assert codes == [200] * 10 + [429] * 5
        stops = [await kit.http.post("/api/v1/servos/vent/stop", headers=headers) for _ in range(50)]
        assert {one.status_code for one in stops} == {200}
        assert kit.servo.names() == ["stop"] * 50
        assert (await kit.http.get("/")).status_code == 200, "strangers have a rate of their own"

    shut(test, rates=Rates(each=Rate(1.0, 10.0), all=Rate(10.0, 100.0)))
