"""Whoever comes to the door in tests: scripts with keys, paired phones, and strangers, each from an address of its own."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from datetime import datetime
from typing import Any

import httpx

from geartender.access.admissions import Admissions
from geartender.access.roles import Role
from tests.api.kit import ORIGIN, Kit, run

Headers = dict[str, str]


def shut(test: Callable[[Kit], Awaitable[None]], **options: Any) -> None:
    """Run a test against a service that lets in only whom it knows."""
    run(test, **{"anybody": False, **options})


def admissions(kit: Kit) -> Admissions:
    found = kit.app.state.service.admissions
    assert isinstance(found, Admissions)
    return found


async def script(
    kit: Kit, role: str = "manage", servo: str | None = None, expires_at: datetime | None = None, name: str = "script"
) -> Headers:
    """What a script with a new key sends."""
    _, key = await admissions(kit).add_key(name, Role(role), servo, expires_at, "the test")
    return {"Authorization": f"Bearer {key}"}


async def phone(kit: Kit, role: str = "manage", name: str = "phone", passphrase: str | None = None) -> Headers:
    """What the page on a newly paired phone sends."""
    invitation = admissions(kit).invite(Role(role), "the test")
    _, secret = await admissions(kit).pair("10.0.0.1", name, code=invitation.code, secret=None, passphrase=passphrase)
    return {"Cookie": f"geartender-8350={secret}", "Origin": ORIGIN}


async def from_address(kit: Kit, address: str, method: str, path: str, **options: Any) -> httpx.Response:
    """A request from that network address."""
    transport = httpx.ASGITransport(kit.app, raise_app_exceptions=False, client=(address, 50_000))
    async with httpx.AsyncClient(transport=transport, base_url=ORIGIN) as http:
        return await http.request(method, path, **options)


def problem_in(answer: httpx.Response) -> tuple[int, str]:
    """Status and slug of a refusal."""
    assert answer.headers["content-type"] == "application/problem+json", answer.text
    return answer.status_code, answer.json()["type"].removeprefix("/problems/")
