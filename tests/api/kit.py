"""The application on a virtual loop, with a recording servo: requests in, answers out, no port, no thread, no waiting."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from dataclasses import dataclass
from typing import Any

import httpx
from fastapi import FastAPI

from geartender.access.limits import Rate, Rates
from geartender.api.app import create_app
from geartender.cli.running import ridge_vent
from geartender.config import parse_settings
from geartender.world import World
from geartender.world.virtual import run_virtual
from tests.api.double import RecordingServo

ORIGIN = "http://127.0.0.1:8350"

NO_LIMIT = Rates(each=Rate(1e6, 1e6), all=Rate(1e6, 1e6))
"""Where time stands still, no bucket fills again."""


class IdlePort:
    """An opener for a servo that is replaced before it opens anything."""

    async def open(self, _: object) -> Any:
        raise AssertionError("the double opens no port")


@dataclass
class Kit:
    """What a test works with."""

    app: FastAPI
    http: httpx.AsyncClient
    servo: RecordingServo

    def socket(self, headers: dict[str, str] | None = None) -> Socket:
        return Socket(self.app, headers)


@asynccontextmanager
async def lifespan(app: FastAPI) -> AsyncIterator[None]:
    """Start and end an application as a server does; httpx's own transport does not."""
    async with app.router.lifespan_context(app):
        yield


def run(
    test: Callable[[Kit], Awaitable[None]], *, service: dict[str, Any] | None = None, seed: int = 0, **options: Any
) -> None:
    """Run a test against the application on virtual time; `service` is that section of its configuration.

    It lets anybody in, unless `anybody` says otherwise.
    """

    async def main(world: World) -> None:
        settings = parse_settings(
            {"service": service or {}, "servo": [{"name": "vent", "port": "none", "build": ridge_vent()}]}
        )
        app = create_app(settings, world, **{"anybody": True, "rates": NO_LIMIT, **options})
        servo = RecordingServo("vent", app.state.service.servos["vent"].sheet)
        app.state.service.servos["vent"] = servo
        transport = httpx.ASGITransport(app, raise_app_exceptions=False)
        async with lifespan(app), httpx.AsyncClient(transport=transport, base_url=ORIGIN) as http:
            await test(Kit(app, http, servo))

    run_virtual(main, seed, lambda _: IdlePort())


class Socket:
    """A live socket spoken to as an ASGI scope: `async with kit.socket() as socket`."""

    def __init__(self, app: FastAPI, headers: dict[str, str] | None = None) -> None:
        given = {"host": "127.0.0.1:8350", **(headers or {})}
        self._scope: dict[str, Any] = {
            "type": "websocket",
            "asgi": {"version": "3.0"},
            "path": "/api/v1/live",
            "raw_path": b"/api/v1/live",
            "query_string": b"",
            "root_path": "",
            "scheme": "ws",
            "client": ("127.0.0.1", 50_000),
            "server": ("127.0.0.1", 8350),
            "subprotocols": [],
            "headers": [(name.encode(), value.encode()) for name, value in given.items()],
            "extensions": {"websocket.http.response": {}},
            "state": {},
        }
        self._app = app
        self._to_app: asyncio.Queue[dict[str, Any]] = asyncio.Queue()
        self.sent: list[dict[str, Any]] = []
        self._arrived = asyncio.Event()
        self.readable = asyncio.Event()
        self.readable.set()

    async def __aenter__(self) -> Socket:
        self._to_app.put_nowait({"type": "websocket.connect"})
        self.task = asyncio.create_task(self._app(self._scope, self._to_app.get, self._send))
        await self.until(lambda: bool(self.sent))
        return self

    async def __aexit__(self, *_: object) -> None:
        self.lose()
        await self.task

    async def _send(self, message: Any) -> None:
        await self.readable.wait()
        self.sent.append(dict(message))
        self._arrived.set()

    def say(self, **message: Any) -> None:
        """Send a JSON message."""
        self.say_raw(json.dumps(message))

    def say_raw(self, text: str) -> None:
        self._to_app.put_nowait({"type": "websocket.receive", "text": text})

    def lose(self) -> None:
        """The connection is gone."""
        self._to_app.put_nowait({"type": "websocket.disconnect", "code": 1006})

    def messages(self) -> list[dict[str, Any]]:
        """JSON messages that arrived so far."""
        return [json.loads(one["text"]) for one in self.sent if one["type"] == "websocket.send"]

    def close_code(self) -> int | None:
        return next((one["code"] for one in self.sent if one["type"] == "websocket.close"), None)

    async def until(self, done: Callable[[], bool]) -> None:
        """Wait until what has arrived is enough; in a virtual world a wait in vain is a Deadlock at once."""
        while not done():
            self._arrived.clear()
            await self._arrived.wait()
