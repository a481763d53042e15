"""From errors to problems: the exception handlers, and the pages that explain each kind of problem."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from fastapi import APIRouter, FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import HTMLResponse, JSONResponse
from fastapi.routing import iter_route_contexts
from jinja2 import Environment, FileSystemLoader, StrictUndefined, select_autoescape
from starlette.exceptions import HTTPException

from geartender.access.roles import open_to_anybody
from geartender.errors import BuildSheetError, DocumentError, GeartenderError, LinkError, PlanError, Refused, Unknown
from geartender.mistakes import mistakes_from
from geartender.problems import MEDIA_TYPE, PROBLEMS, problem_body, problem_headers

STATUS_SLUGS = {400: "invalid", 404: "unknown", 405: "method-not-allowed", 413: "too-large", 415: "not-json"}
"""The problem for each status that the framework answers with by itself."""


def problem_response(slug: str, detail: str, headers: Mapping[str, str] | None = None, **extra: Any) -> JSONResponse:
    """One problem as an answer."""
    fields = {**problem_headers(slug, extra), **(headers or {})}
    return JSONResponse(problem_body(slug, detail, **extra), PROBLEMS[slug].status, fields, MEDIA_TYPE)


def problem_of(error: GeartenderError) -> tuple[str, str, dict[str, Any]]:
    """Slug, detail and further members of the problem that an error is."""
    match error:
        case Refused():
            return error.slug, error.detail, dict(error.extra)
        case BuildSheetError():
            mistakes = [item.as_problem() for item in error.items]
            return "invalid", f"The build sheet has {_counted(len(mistakes), 'mistake')}.", {"errors": mistakes}
        case DocumentError():
            mistakes = [item.as_problem() for item in error.items]
            return "invalid", f"The {error.what} has {_counted(len(mistakes), 'mistake')}.", {"errors": mistakes}
        case PlanError():
            return "invalid", str(error), {"errors": [{"detail": str(error), "pointer": "#"}]}
        case LinkError():
            return "offline", f"{error}", {}
        case _:
            return "failed", "The service could not do that, and its log says why.", {}


def add_problem_handlers(app: FastAPI) -> None:
    """Let every error leave the application as a problem."""

    async def ours(_: Request, error: Exception) -> JSONResponse:
        assert isinstance(error, GeartenderError)  # noqa: S101 - registered for nothing else
        slug, detail, extra = problem_of(error)
        if slug == "failed":
            raise error
        return problem_response(slug, detail, **extra)

    async def wrong_fields(_: Request, error: Exception) -> JSONResponse:
        assert isinstance(error, RequestValidationError)  # noqa: S101 - registered for nothing else
        mistakes = mistakes_in(error.errors())
        return problem_response("invalid", f"The request has {_counted(len(mistakes), 'mistake')}.", errors=mistakes)

    async def by_status(request: Request, error: Exception) -> JSONResponse:
        assert isinstance(error, HTTPException)  # noqa: S101 - registered for nothing else
        slug = STATUS_SLUGS.get(error.status_code, "failed")
        headers = (
            {"Allow": ", ".join(allowed_methods(request.app, request.url.path))}
            if slug == "method-not-allowed"
            else None
        )
        return problem_response(slug, _status_detail(slug, request), headers)

    app.add_exception_handler(GeartenderError, ours)
    app.add_exception_handler(RequestValidationError, wrong_fields)
    app.add_exception_handler(HTTPException, by_status)


def _status_detail(slug: str, request: Request) -> str:
    return {
        "invalid": "The body is not JSON that this service can read.",
        "unknown": "Nothing has this address.",
        "method-not-allowed": f"This address does not answer {request.method}.",
    }.get(slug, PROBLEMS[slug].means)


def allowed_methods(app: FastAPI, path: str) -> list[str]:
    """Every method that the path answers, over all its routes (RFC 9110 section 15.5.6)."""
    found: set[str] = set()
    for route in iter_route_contexts(app.routes):
        if route.methods and route.path_regex.match(path):
            found |= route.methods
    if "GET" in found:
        found.add("HEAD")
    return sorted(found)


def mistakes_in(errors: Sequence[Any]) -> list[dict[str, str]]:
    """The `errors` member (RFC 9457 section 3) of what the validation of a request found."""
    return [_request_mistake(error) for error in errors]


def _request_mistake(error: Any) -> dict[str, str]:
    """The first step of the place says which part of the request it is in; only the body can be pointed into."""
    source, *path = error["loc"]
    if error["type"] == "json_invalid":
        where = f" at character {path[0]}" if path else ""
        return {"detail": f"not JSON: {error['ctx']['error']}{where}", "pointer": "#"}
    (mistake,) = mistakes_from([{**error, "loc": path}])
    if source == "body":
        return mistake.as_problem()
    return {"detail": f"{source} {mistake}", "parameter": mistake.path}


def _counted(number: int, thing: str) -> str:
    return f"{number} {thing}" if number == 1 else f"{number} {thing}s"


def problem_pages(templates: Path) -> APIRouter:
    """`/problems/<slug>`: what it means and what to do."""
    router = APIRouter(include_in_schema=False)
    environment = Environment(
        loader=FileSystemLoader(templates), autoescape=select_autoescape(default=True), undefined=StrictUndefined
    )
    page = environment.get_template("problem.html")
    pages = {slug: page.render(problem=problem) for slug, problem in PROBLEMS.items()}

    @router.get("/problems/{slug}", name="problem-page")
    @open_to_anybody
    async def show(slug: str) -> HTMLResponse:
        if slug not in pages:
            raise Unknown("There is no problem of that name.")
        return HTMLResponse(pages[slug])

    return router
