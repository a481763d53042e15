"""Any build sheet, without a servo: what may stand in one, what its figures mean, and TOML both ways."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Response
from pydantic import Field

from geartender.access.roles import Role, needs
from geartender.api.builds import SHEET_SCHEMA, TOML_CONTENT, SheetBody, toml_response
from geartender.api.models import Listing
from geartender.api.openapi import Responses, problems
from geartender.build import BuildSheet, Figures, parse_build
from geartender.build.why import Reason, reasons
from geartender.servo.requests import Request

router = APIRouter(tags=["build"])

# Only a new version of the service changes these; five minutes after an upgrade nobody has the old ones.
KEEP_FOR_MINUTES = {"Cache-Control": "max-age=300"}
SCHEMA = BuildSheet.model_json_schema()
REASONS = Listing[Reason](items=list(reasons(Figures)), next=None)
TOML_ANSWER: Responses = {200: {"description": "The sheet as TOML text.", "content": TOML_CONTENT}}


class TomlText(Request):
    """A build sheet as it stands in a file."""

    toml: str = Field(description="TOML text.")


@router.get(
    "/build/schema",
    operation_id="getBuildSchema",
    summary="JSON Schema of a build sheet: tables, fields, ranges, defaults and hints",
    responses=problems(),
)
@needs(Role.WATCH, any_servo=True)
async def get_build_schema(response: Response) -> dict[str, Any]:
    response.headers.update(KEEP_FOR_MINUTES)
    return SCHEMA


@router.get(
    "/figures/why",
    operation_id="getReasons",
    summary="Formula, inputs and source of every figure",
    responses=problems(),
)
@needs(Role.WATCH, any_servo=True)
async def get_reasons(response: Response) -> Listing[Reason]:
    response.headers.update(KEEP_FOR_MINUTES)
    return REASONS


@router.post(
    "/build/from-toml",
    operation_id="readToml",
    summary="A build sheet from TOML text, with only what was written into it",
    response_model=BuildSheet,
    response_model_exclude_unset=True,
    responses=problems("too-large", "not-json"),
)
@needs(Role.WATCH, any_servo=True)
async def read_toml(body: TomlText) -> BuildSheet:
    return parse_build(body.toml)


@router.post(
    "/build/to-toml",
    operation_id="writeToml",
    summary="Any build sheet as TOML text",
    responses={**TOML_ANSWER, **problems("too-large", "not-json")},
    response_class=Response,
    openapi_extra=SHEET_SCHEMA,
)
@needs(Role.WATCH, any_servo=True)
async def write_toml(body: SheetBody) -> Response:
    return toml_response(parse_build(body))
