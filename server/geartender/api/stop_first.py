"""Stop comes before everything: before routing, before fields are checked, before an answer is thought of (pure ASGI).

Only the door (Host, Origin, a JSON body) and the entrance (whether they were let in; no limit) stand in front of it. The route of
Stop, which comes after, writes the answer alone.
"""

from __future__ import annotations

import asyncio
import re

from fastapi.exceptions import RequestValidationError
from pydantic import ValidationError
from starlette.requests import HTTPConnection, Request

from geartender.access.door import App, Receive, Scope, Send
from geartender.api.deps import admission_of, anyone_at
from geartender.api.models import StopRequest
from geartender.api.service import Service

STOP_BODY_WAIT_S = 0.05
"""s; how long Stop waits for a body that may name another category. A person notices a tenth of a second."""

MISTAKES = "geartender.stop.mistakes"
"""Where the route finds what was wrong with the body of a stop that was sent already; None if nothing was."""

_STOP_PATH = re.compile(r"/api/v1/servos/([^/]+)/stop")


class StopFirst:
    """Middleware just behind the door."""

    def __init__(self, app: App, service: Service) -> None:
        self._app = app
        self._servos = service.servos

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "http" and scope["method"] == "POST":
            found = _STOP_PATH.fullmatch(scope["path"])
            servo = self._servos.get(found.group(1)) if found else None
            if servo is not None and admission_of(HTTPConnection(scope)).servo in (None, servo.name):
                request = Request(scope, receive)
                category, mistakes = await _category(request)
                servo.stop(anyone_at(request), category)
                scope = {**scope, MISTAKES: mistakes}
        await self._app(scope, receive, send)


async def _category(request: Request) -> tuple[int, RequestValidationError | None]:
    """The category that the body asks for; 1 when there is none, none in time, or none that can be read."""
    if request.headers.get("content-length", "") == "0":
        return 1, None
    try:
        async with asyncio.timeout(STOP_BODY_WAIT_S):
            body = await request.body()
        return StopRequest.model_validate_json(body or b"{}").category, None
    except ValidationError as error:
        return 1, RequestValidationError([{**found, "loc": ("body", *found["loc"])} for found in error.errors()])
    except Exception:  # noqa: BLE001 - whatever is wrong with the body, Stop comes first
        return 1, None
