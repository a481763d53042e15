"""The door: what every request and every socket has to pass before the application sees it (pure ASGI).

Host and Origin are ours, a body is JSON and small, and every answer carries the security headers. A mistake inside the
application leaves here as a problem that tells nothing of the inside.
"""

from __future__ import annotations

import json
import logging
from collections.abc import Awaitable, Callable, MutableMapping
from dataclasses import dataclass
from typing import Any

from geartender.access.addresses import Addresses, reached_at
from geartender.errors import Forbidden, Refused
from geartender.problems import MEDIA_TYPE, PROBLEMS, problem_body, problem_headers

log = logging.getLogger(__name__)

Scope = MutableMapping[str, Any]
Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

BODY_MAX_BYTES = 65_536
"""Bytes; the largest build sheet is a tenth of it, and a flood of larger ones could fill a small board's memory."""

SHOWN_MAX = 64
"""Characters of a foreign host or origin that are shown in the journal: enough to know it again."""

JSON = "application/json"

POLICY_VIOLATION = 1008
"""Close code of a socket refused by a server that cannot answer it with a status (RFC 6455 section 7.4.1)."""

UNKNOWN_HOST = (
    "This service does not answer under that host name. Open it by an address it knows, or add the name to allowed_hosts in "
    "[service] of its configuration and start it again."
)

METHODS_WITH_BODY = frozenset({"POST", "PUT", "PATCH", "DELETE"})

SECURITY_HEADERS = {
    "content-security-policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; manifest-src 'self'; "
        "base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
    ),
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), geolocation=(), microphone=(), payment=(), usb=(), serial=()",
    "cache-control": "no-store",
}
"""Put on every answer that does not bring its own. `no-store`: an old angle must never come out of a cache as a new one."""


@dataclass(frozen=True, slots=True)
class Large:
    """The one address whose body is large and of a kind of its own."""

    path: str
    media_type: str
    max_bytes: int


class Refusal(Refused):
    """Why a request does not get in, by the name of the problem."""

    def __init__(self, slug: str, detail: str) -> None:
        super().__init__(detail)
        self.slug = slug


class Door:
    """Middleware around the whole application."""

    def __init__(
        self, app: App, addresses: Addresses, large: Large, refused: Callable[[str, str], None] = lambda *_: None
    ) -> None:
        """`refused` is told of each foreign host or page: the network address it came from, and what it was."""
        self._app = app
        self._addresses = addresses
        self._large = large
        self._refused = refused

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "http":
            await self._http(scope, receive, send)
        elif scope["type"] == "websocket":
            await self._socket(scope, receive, send)
        else:
            await self._app(scope, receive, send)

    async def _http(self, scope: Scope, receive: Receive, send: Send) -> None:
        is_large = scope["path"] == self._large.path
        kind, most = (self._large.media_type, self._large.max_bytes) if is_large else (JSON, BODY_MAX_BYTES)
        body = _BoundedBody(receive, most)
        answer = _Answer(send, body)
        try:
            self._check_addresses(scope)
            _check_body(scope, kind, most)
            # The transport leaves the body of an answer to HEAD away by itself; the application need not know of it.
            method = "GET" if scope["method"] == "HEAD" else scope["method"]
            await self._app({**scope, "method": method}, body.receive, answer.send)
        except Refused as refusal:
            await answer.problem(refusal.slug, refusal.detail, **refusal.extra)
        except Exception:  # the last resort of the service: said in the log, hidden from the outside
            log.exception("failed: %s %s", scope["method"], scope["path"])
            await answer.problem("failed", "The service could not do that, and its log says why.")

    async def _socket(self, scope: Scope, receive: Receive, send: Send) -> None:
        try:
            self._check_addresses(scope)
            await self._app(scope, receive, send)
        except Refused as refusal:  # raised by the entrance, before the socket opens
            await _deny(scope, send, refusal)

    def _check_addresses(self, scope: Scope) -> None:
        hosts, reached = _values(scope, b"host"), reached_at(scope)
        if len(hosts) != 1 or not self._addresses.host_is_ours(hosts[0], reached):
            self._tell(scope, "the foreign host name", hosts)
            raise Forbidden(UNKNOWN_HOST)
        origins = _values(scope, b"origin")
        if len(origins) > 1 or not self._addresses.origin_is_ours(origins[0] if origins else None, hosts[0], reached):
            self._tell(scope, "a page of", origins)
            raise Forbidden(
                "That request comes from a page of another address. Only this service's own page may use it."
            )

    def _tell(self, scope: Scope, what: str, given: list[str]) -> None:
        came_from = scope.get("client")
        names = ", ".join(map(_short, given)) or "none"
        self._refused(came_from[0] if came_from else "", f"a request by {what} {names} was refused")


def _short(given: str) -> str:
    """What a stranger sent, as far as a line of the journal bears it."""
    shown = "".join(one if one.isascii() and one.isprintable() else "?" for one in given[:SHOWN_MAX])
    return f"{shown}…" if len(given) > SHOWN_MAX else shown


def _check_body(scope: Scope, kind: str, most: int) -> None:
    if scope["method"] not in METHODS_WITH_BODY:
        return
    length = _values(scope, b"content-length")
    declared = int(length[0]) if length and length[0].isdecimal() else 0
    if declared > most:
        raise Refusal("too-large", f"The body has {declared} bytes; {most} are the most.")
    kinds = _values(scope, b"content-type")
    has_body = declared > 0 or bool(_values(scope, b"transfer-encoding"))
    if (kinds or has_body) and [one.split(";")[0].strip().lower() for one in kinds] != [kind]:
        name = "JSON" if kind == JSON else "an archive"
        raise Refusal("not-json", f"The body must be {name}, sent with Content-Type: {kind}.")


class _BoundedBody:
    """Passes a body on as it comes in, up to the limit; what is more looks to the application like a client gone away."""

    def __init__(self, receive: Receive, most: int) -> None:
        self._receive = receive
        self.most = most
        self._seen = 0
        self.too_large = False

    async def receive(self) -> Message:
        message = await self._receive()
        if message["type"] == "http.request":
            self._seen += len(message.get("body", b""))
            if self._seen > self.most:
                self.too_large = True
                return {"type": "http.disconnect"}
        return message


class _Answer:
    """Sends the application's answer with the security headers, or a problem in its place."""

    def __init__(self, send: Send, body: _BoundedBody) -> None:
        self._send = send
        self._body = body
        self._started = False
        self._replaced = False

    async def send(self, message: Message) -> None:
        if self._replaced:
            return
        if message["type"] == "http.response.start":
            if self._body.too_large:
                self._replaced = True
                await self._write_problem("too-large", f"The body has more than {self._body.most} bytes.")
                return
            self._started = True
            message = {**message, "headers": _with_security(message.get("headers", []))}
        await self._send(message)

    async def problem(self, slug: str, detail: str, **extra: Any) -> None:
        """Answer with a problem, unless an answer has begun already."""
        if self._body.too_large:
            slug, detail = "too-large", f"The body has more than {self._body.most} bytes."
        if not self._started and not self._replaced:
            await self._write_problem(slug, detail, **extra)

    async def _write_problem(self, slug: str, detail: str, **extra: Any) -> None:
        start, body = _problem_messages("http.response", slug, detail, **extra)
        await self._send(start)
        await self._send(body)


def _problem_messages(prefix: str, slug: str, detail: str, **extra: Any) -> tuple[Message, Message]:
    content = json.dumps(problem_body(slug, detail, **extra)).encode()
    fields = {"content-type": MEDIA_TYPE, "content-length": str(len(content)), **problem_headers(slug, extra)}
    headers = [(name.lower().encode(), value.encode()) for name, value in fields.items()]
    start = {"type": f"{prefix}.start", "status": PROBLEMS[slug].status, "headers": _with_security(headers)}
    return start, {"type": f"{prefix}.body", "body": content}


async def _deny(scope: Scope, send: Send, refusal: Refused) -> None:
    """Refuse a socket before it opens: with a real status where the server can, else by closing it."""
    if "websocket.http.response" not in (scope.get("extensions") or {}):
        await send({"type": "websocket.close", "code": POLICY_VIOLATION, "reason": ""})
        return
    for message in _problem_messages("websocket.http.response", refusal.slug, refusal.detail, **refusal.extra):
        await send(message)


def _values(scope: Scope, name: bytes) -> list[str]:
    return [value.decode("latin-1") for key, value in scope["headers"] if key == name]


def _with_security(headers: list[tuple[bytes, bytes]]) -> list[tuple[bytes, bytes]]:
    present = {key.lower() for key, _ in headers}
    missing = [(key.encode(), value.encode()) for key, value in SECURITY_HEADERS.items() if key.encode() not in present]
    return [*headers, *missing]
