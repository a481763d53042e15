"""The entrance: who that is, whether they were let in, and for this (pure ASGI, just behind the door).

It stands before a body is read and before a route is chosen, so that whoever was not let in learns nothing and costs little.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from fastapi.routing import iter_route_contexts
from starlette.requests import HTTPConnection

from geartender.access.addresses import Addresses
from geartender.access.admissions import NOBODY, Admission, Admissions
from geartender.access.cookies import Cookie
from geartender.access.door import App, Receive, Scope, Send
from geartender.access.roles import Role, Rule, rule_of
from geartender.errors import Forbidden, Unauthenticated

ADMISSION = "geartender.admission"
"""Where in a scope the admission stands; None: nobody, where nobody need be let in, or a socket that has still to say who."""

ANYTHING = Rule(Role.WATCH, any_servo=True)
"""For an address that nothing has: only those who were let in learn that."""

READING = ("GET", "HEAD", "OPTIONS")
"""Methods with which a browser sends no `Origin` to the page's own address. With all others, and to open a socket, it does."""

NO_ORIGIN = (
    "A phone's session counts only for what this service's own page asks for, and that says where it comes from. "
    "A script uses a key."
)
_BEARER = re.compile(r"Bearer +([\x21-\x7e]+)", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class _Route:
    pattern: re.Pattern[str]
    methods: frozenset[str] | None
    """None: a socket."""
    of_one_servo: bool
    rule: Rule | None
    path: str


class Entrance:
    """Middleware between the door and the application."""

    def __init__(
        self, app: App, routes: Sequence[Any], admissions: Admissions, addresses: Addresses, cookie: Cookie
    ) -> None:
        self._app = app
        self._given = routes
        self._routes: list[_Route] | None = None
        self._admissions = admissions
        self._addresses = addresses
        self._cookie = cookie

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] in ("http", "websocket"):
            scope = {**scope, ADMISSION: self._admit(scope)}
        await self._app(scope, receive, send)

    def _admit(self, scope: Scope) -> Admission | None:
        """Raises Unauthenticated, Forbidden, TooManyAttempts."""
        route = self._route(scope)
        rule = ANYTHING if route is None else route.rule
        client, connection = client_of(scope), HTTPConnection(scope)
        key = _key(connection)
        cookie = self._cookie.read(connection.headers.get("cookie", ""), self._addresses.is_secure(scope))
        admission = self._admissions.recognised(key, cookie)
        if rule is None or not rule.unlimited:
            self._admissions.limit(client, admission)
        if rule is None:
            raise Forbidden("This address does not say who may use it, so nobody may.")
        if rule.role is None:
            return admission
        if admission is None:
            if key is not None or cookie is not None:
                raise self._admissions.refused(client, "session" if key is None else "key")
            if scope["type"] == "websocket":
                return None  # its first message may bring a key
            raise Unauthenticated(NOBODY)
        if admission.by_cookie and scope.get("method") not in READING and "origin" not in connection.headers:
            raise Forbidden(NO_ORIGIN)
        if not admission.role.allows(rule.role):
            self._admissions.tell_refused(
                admission.name, f"{scope.get('method', 'GET')} {route.path if route else ''} was refused"
            )
        admission.require(rule.role)
        if admission.servo is not None and not rule.any_servo and not (route and route.of_one_servo):
            raise Forbidden(f"This key is for the servo {admission.servo} alone.", servo=admission.servo)
        return admission

    def _route(self, scope: Scope) -> _Route | None:
        if self._routes is None:
            self._routes = list(_read(self._given))
        method = scope.get("method")
        for route in self._routes:
            fits = route.methods is None if method is None else route.methods is not None and method in route.methods
            if fits and route.pattern.match(scope["path"]):
                return route
        return None


def client_of(scope: Scope) -> str:
    """The network address of whoever asks."""
    client = scope.get("client")
    return client[0] if client else "local"


def _read(routes: Sequence[Any]) -> Iterable[_Route]:
    for route in iter_route_contexts(routes):
        methods = None if route.methods is None else frozenset(route.methods)
        path = route.path or ""
        yield _Route(route.path_regex, methods, "{servo}" in path, rule_of(route.endpoint), path)


def _key(connection: HTTPConnection) -> str | None:
    """The key that was sent; empty when what was sent is none, or more than one."""
    fields = connection.headers.getlist("authorization")
    if not fields:
        return None
    found = _BEARER.fullmatch(fields[0].strip()) if len(fields) == 1 else None
    return found.group(1) if found else ""
