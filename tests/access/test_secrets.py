"""Secrets are nowhere but where they were given out: not in logs, journal, database, backups, answers or addresses."""

from __future__ import annotations

import asyncio
import io
import json
import logging
import zipfile
from pathlib import Path
from typing import Any

import httpx
import pytest

from geartender.client import Client
from geartender.errors import GeartenderError
from geartender.store.journal_rows import Search
from tests.access.people import Headers, phone, script, shut
from tests.api.kit import Kit

PASSPHRASE = "a passphrase of mine"
WRONG_KEY = "gt_this-one-was-never-given-out"
WRONG_PASSPHRASE = "another than of mine"


async def use_everything(kit: Kit) -> tuple[set[str], Headers]:
    """Pair, make keys, get things wrong, move; gives every secret that passed, and a manager's headers."""
    boss = await script(kit, name="boss")
    offer = (await kit.http.post("/api/v1/pairing/offers", json={"role": "manage"}, headers=boss)).json()
    body = {"name": "phone", "secret": offer["secret"], "passphrase": PASSPHRASE}
    session = (await kit.http.post("/api/v1/pairing", json=body)).headers["set-cookie"].partition(";")[0]
    headers = {"Cookie": session, "Origin": "http://127.0.0.1:8350"}
    key = (await kit.http.post("/api/v1/keys", json={"name": "weather"}, headers=headers)).json()["key"]
    await kit.http.post("/api/v1/me/proof", json={"passphrase": WRONG_PASSPHRASE}, headers=headers)
    await kit.http.put("/api/v1/me/passphrase", json={"passphrase": PASSPHRASE, "extra": 1}, headers=headers)
    await kit.http.post(f"/api/v1/pairing?secret={WRONG_KEY}", json={"name": "x", "secret": WRONG_KEY})
    await kit.http.get("/api/v1/servos", headers={"Cookie": f"geartender-8350={WRONG_KEY}"})
    await kit.http.get("/api/v1/servos", headers={"Authorization": f"Bearer {WRONG_KEY}"})
    await kit.http.post("/api/v1/servos/vent/moves", json={"to_deg": 5}, headers={"Authorization": f"Bearer {key}"})
    async with kit.socket() as socket:
        socket.say(type="hello", client="thumb", key=key, extra=1)
        await asyncio.sleep(0.1)
    async with kit.socket() as socket:
        socket.say(type="hello", client="thumb", key=key)
        socket.say(type="jog", servo="vent", speed_deg_s=1)
        await asyncio.sleep(0.1)
    kit.servo.refusal = RuntimeError("a mistake inside")
    await kit.http.post("/api/v1/servos/vent/arm", headers=boss)
    secrets = {boss["Authorization"].split()[1], offer["secret"], session.partition("=")[2], key}
    return secrets | {PASSPHRASE, WRONG_KEY, WRONG_PASSPHRASE}, boss


def test_no_secret_is_in_the_log_the_journal_the_figures_a_backup_or_the_database(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    seen: dict[str, Any] = {}

    async def test(kit: Kit) -> None:
        secrets, boss = await use_everything(kit)
        seen["secrets"] = secrets
        page = await kit.app.state.service.store.journal.page(Search(), limit=100)
        seen["journal"] = repr(page.entries)
        assert "a wrong key was refused" in seen["journal"]
        archive = zipfile.ZipFile(io.BytesIO((await kit.http.get("/api/v1/backup", headers=boss)).content))
        for name in archive.namelist():
            seen[f"backup: {name}"] = archive.read(name).decode()
        assert seen["backup: credentials.jsonl"].count("\n") == 3
        for path in ("/metrics", "/api/v1/credentials", "/api/v1/journal", "/api/v1/notices", "/api/v1/me"):
            seen[path] = (await kit.http.get(path, headers=boss)).text

    with caplog.at_level(logging.DEBUG):
        shut(test, service={"data_dir": str(tmp_path)})
    secrets = seen.pop("secrets")
    assert "a mistake inside" in caplog.text
    # What asks in this test is httpx too; in the service it is kept quiet (see test_logs.py).
    seen["log"] = "\n".join(record.getMessage() for record in caplog.records if not record.name.startswith("http"))
    for file in tmp_path.rglob("*"):
        if file.is_file() and not file.name.endswith(".ballast"):
            seen[file.name] = file.read_bytes().decode("latin-1")
    assert len(seen["geartender.db"]) > 10_000
    found = {(place, secret) for place, text in seen.items() for secret in secrets if secret in text}
    assert found == set()


def test_a_secret_in_the_address_is_not_taken() -> None:
    async def test(kit: Kit) -> None:
        key = (await script(kit))["Authorization"].split()[1]
        for name in ("key", "token", "access_token", "authorization"):
            assert (await kit.http.get(f"/api/v1/servos?{name}={key}")).status_code == 401

    shut(test)


@pytest.mark.parametrize("key", ["gt_with a space", "gt_line\nbreak", "gt_ümlaut", "", " ", "gt_" + "x" * 500])
def test_a_key_that_cannot_be_sent_is_refused_without_saying_it(key: str) -> None:
    with pytest.raises(GeartenderError) as caught:
        Client("http://127.0.0.1:1", key)
    assert key.strip() == "" or key not in str(caught.value)


def test_no_error_of_the_client_says_its_key() -> None:
    def answers(request: httpx.Request) -> httpx.Response:
        raise httpx.ConnectError(f"no way with {len(request.headers)} fields", request=request)

    client = Client("http://vent.local", "gt_a-good-one", transport=httpx.MockTransport(answers))
    with pytest.raises(GeartenderError) as caught:
        client.servos()
    told = json.dumps(
        [str(caught.value), repr(caught.value), repr(client), repr(client.__dict__), repr(vars(client._http))]
    )
    assert "gt_a-good-one" not in told


def test_two_phones_of_one_seed_get_the_same_secrets_and_real_ones_never_do() -> None:
    """Chance comes from the world: that is why a run can be had again. Of the real world it is the operating system's."""
    given = []

    async def test(kit: Kit) -> None:
        given.append((await phone(kit))["Cookie"])

    shut(test)
    shut(test)
    assert given[0] == given[1]
    from geartender.world import real_world

    assert real_world().secret_bytes(32) != real_world().secret_bytes(32)
