"""The description of the interface: problem answers for every operation, and nothing of the framework's own error format."""

from __future__ import annotations

from typing import Any

from fastapi import FastAPI
from fastapi.openapi.utils import get_openapi

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

Live values come over a WebSocket at `/api/v1/live`, JSON messages with a `type`.

From the client: `hello` (`client`: its name, as `Geartender-Client` gives it over HTTP), `subscribe` (`servo`, `rate_hz`
from 1 to 50), `jog` (`servo`, `speed_deg_s`; moves while it is repeated within {JOG_REPEAT_S * 1000:.0f} ms, 0 ends it),
`stop` (`servo`, `category`).

To the client: `snapshot` (at the subscription and on each change of state), `telemetry` (the newest values, at the rate asked for),
`event` (`event`, `text`; a refused message comes as `refused` with its `problem`).

Losing the socket ends its jog at once. Close codes of our own: 4400 not text, 4408 too slow to read what it asked for,
4413 message too long, 4429 too many sockets.
"""

TAGS = [
    {"name": "servos", "description": "What there is, what it is doing, and who may drive it."},
    {"name": "motion", "description": "Start motion, follow it, stop it."},
    {"name": "build", "description": "What was built, and what follows from it."},
    {"name": "journal", "description": "What was commanded and what happened, and what needs a person."},
    {"name": "sequences", "description": "Stored lists of steps, their runs, and when they run by themselves."},
    {"name": "simulation", "description": "Only with `demo`: the mechanics under the simulated servo."},
    {"name": "service", "description": "The service itself."},
]

Responses = dict[int | str, dict[str, Any]]


def problems(*slugs: str) -> Responses:
    """The `responses` of a route that can answer with these problems; those that every route can are added."""
    found: dict[int | str, dict[str, Any]] = {}
    for slug in dict.fromkeys((*slugs, "forbidden", "invalid", "failed")):
        problem = PROBLEMS[slug]
        entry = found.setdefault(problem.status, _empty())
        entry["description"] = f"{entry['description']}; {slug}" if entry["description"] else slug
        entry["content"][MEDIA_TYPE]["examples"][slug] = {"value": problem_body(slug, problem.means)}
    return found


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
            app.openapi_schema = document
        return app.openapi_schema

    app.openapi = openapi  # type: ignore[method-assign]
