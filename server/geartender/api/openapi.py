"""The description of the interface: problem answers for every operation, and nothing of the framework's own error format."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, FastAPI, Request
from fastapi.openapi.utils import get_openapi
from fastapi.responses import JSONResponse
from fastapi.routing import iter_route_contexts

from geartender.access.roles import Role, Rule, needs, rule_of
from geartender.api.live import JOG_REPEAT_S
from geartender.api.models import ProblemBody
from geartender.caution import CAUTION
from geartender.problems import MEDIA_TYPE, PROBLEMS, problem_body
from geartender.sequences.model import Sequence
from geartender.sequences.timetable import Entry

DESCRIPTION = f"""\
Drives, watches and stops home-built geared servos. Every field has its unit in its name; angles are degrees of the output.

{CAUTION}

Errors are problems (RFC 9457) whose `type` leads to a page that says what the problem means and what to do.

Who may ask: a paired phone, by the cookie that pairing gives it, or a script, by `Authorization: Bearer` with its key. `x-role` of
an operation names the least role: `watch` reads and stops, `drive` moves, `manage` changes limits and lets others in. An operation
without it is open to anybody. `demo` on an address of its own machine lets in whoever is on that machine.

Live values come over a WebSocket at `/api/v1/live`, JSON messages with a `type`.

From the client: `hello` (`client`: its name, as `Geartender-Client` gives it over HTTP; `key`: as the first message of a
script that sends none in `Authorization`), `subscribe` (`servo`, `rate_hz`
from 1 to 50), `jog` (`servo`, `speed_deg_s`; moves while it is repeated within {JOG_REPEAT_S * 1000:.0f} ms, 0 ends it),
`stop` (`servo`, `category`).

To the client: `snapshot` (at the subscription and on each change of state), `telemetry` (the newest values, at the rate asked for),
`event` (`event`, `text`; a refused message comes as `refused` with its `problem`).

Losing the socket ends its jog at once. Close codes of our own: 4400 not text, 4401 not let in, or no longer, 4408 too slow to read
what it asked for, 4413 message too long, 4429 too many sockets, or messages.
"""

TAGS = [
    {"name": "servos", "description": "What there is, what it is doing, and who may drive it."},
    {"name": "motion", "description": "Start motion, follow it, stop it."},
    {"name": "build", "description": "What was built, and what follows from it."},
    {"name": "bench", "description": "Measuring what was really built."},
    {"name": "journal", "description": "What was commanded and what happened, and what needs a person."},
    {"name": "sequences", "description": "Stored lists of steps, their runs, and when they run by themselves."},
    {"name": "simulation", "description": "Only with `demo`: the mechanics under the simulated servo."},
    {"name": "access", "description": "Who is let in, and for what."},
    {"name": "service", "description": "The service itself."},
]

Responses = dict[int | str, dict[str, Any]]


def problems(*slugs: str) -> Responses:
    """The `responses` of a route that can answer with these problems; those that every route can are added."""
    found: dict[int | str, dict[str, Any]] = {}
    for slug in dict.fromkeys((*slugs, "forbidden", "invalid", "failed")):
        _add_problem(found, slug)
    return found


def _add_problem(found: Responses, slug: str) -> None:
    problem = PROBLEMS[slug]
    entry = found.setdefault(problem.status, _empty())
    entry["description"] = f"{entry['description']}; {slug}" if entry["description"] else slug
    entry["content"][MEDIA_TYPE]["examples"][slug] = {"value": problem_body(slug, problem.means)}


def _empty() -> dict[str, Any]:
    schema = {"$ref": "#/components/schemas/ProblemBody"}
    return {"description": "", "content": {MEDIA_TYPE: {"schema": schema, "examples": {}}}}


def example(status: int, description: str, value: Any) -> Responses:
    """The `responses` entry that shows what a good answer looks like."""
    return {status: {"description": description, "content": {"application/json": {"example": value}}}}


def describe(app: FastAPI) -> None:
    """Put our description in the place of the framework's."""

    def openapi() -> dict[str, Any]:
        if app.openapi_schema is None:
            document = get_openapi(
                title=app.title, version=app.version, description=DESCRIPTION, routes=app.routes, tags=TAGS
            )
            schemas = document["components"]["schemas"]
            for unused in ("HTTPValidationError", "ValidationError"):
                schemas.pop(unused, None)
            for model in (ProblemBody, Sequence, Entry):
                schema = model.model_json_schema(ref_template="#/components/schemas/{model}")
                schemas.update(schema.pop("$defs", {}))
                schemas[model.__name__] = schema
            _say_who_may(app, document)
            app.openapi_schema = document
        return app.openapi_schema

    app.openapi = openapi  # type: ignore[method-assign]


def description(app: FastAPI) -> APIRouter:
    """The route that gives the description out."""
    router = APIRouter(include_in_schema=False)

    @router.get("/api/v1/openapi.json", name="openapi")
    @needs(Role.WATCH, any_servo=True)
    async def show(request: Request) -> JSONResponse:
        root_path = request.scope.get("root_path", "")
        servers = {"servers": [{"url": root_path}]} if root_path else {}
        return JSONResponse({**app.openapi(), **servers})

    return router


def _say_who_may(app: FastAPI, document: dict[str, Any]) -> None:
    """Write to each operation the role it needs, and the problems of whoever has it not."""
    document["components"]["securitySchemes"] = {
        "key": {"type": "http", "scheme": "bearer", "description": "A key, for a script."},
        "phone": {"type": "apiKey", "in": "cookie", "name": "geartender-8350", "description": "A paired phone."},
    }
    for route in iter_route_contexts(app.routes):
        rule = rule_of(route.endpoint)
        for method in route.methods or ():
            operation = document["paths"].get(route.path, {}).get(method.lower())
            if operation is None or rule is None:
                continue
            operation["responses"] = {**_shut(rule), **operation["responses"]}
            if rule.role is not None:
                operation["x-role"] = rule.role.value
                operation["security"] = [{"key": []}, {"phone": []}]


def _shut(rule: Rule) -> dict[str, Any]:
    slugs = ([] if rule.role is None else ["unauthenticated"]) + ([] if rule.unlimited else ["too-many-attempts"])
    found: Responses = {}
    for slug in slugs:
        _add_problem(found, slug)
    return {str(status): answer for status, answer in found.items()}
