"""The wiring of a build: a pin table with parts and cautions, or a drawing, of a servo's sheet or of any."""

from __future__ import annotations

from fastapi import APIRouter, Response

from geartender.access.roles import Role, needs
from geartender.api.accepts import prefers
from geartender.api.builds import SHEET_SCHEMA, AcceptHeader, SheetBody
from geartender.api.deps import ServoDep
from geartender.api.openapi import Responses, problems
from geartender.build import BuildSheet, parse_build
from geartender.build.wiring import Wiring, wiring
from geartender.build.wiring_drawing import drawing

router = APIRouter(tags=["build"])

SVG_MEDIA_TYPE = "image/svg+xml"
ANSWER: Responses = {
    200: {
        "description": "The table, or the drawing where that is preferred.",
        "content": {SVG_MEDIA_TYPE: {"schema": {"type": "string"}}},
    }
}


def _answer(sheet: BuildSheet, accept: str | None) -> Response | Wiring:
    plan = wiring(sheet)
    if prefers(accept, SVG_MEDIA_TYPE):
        title = f"Wiring of {sheet.name}" if sheet.name else "Wiring"
        return Response(drawing(plan, title), media_type=SVG_MEDIA_TYPE, headers={"Vary": "Accept"})
    return plan


@router.get(
    "/servos/{servo}/wiring",
    operation_id="getWiring",
    summary="How the servo is wired by its build sheet; as JSON or SVG",
    response_model=Wiring,
    responses={**ANSWER, **problems("unknown")},
)
@needs(Role.WATCH, any_servo=True)
async def get_wiring(servo: ServoDep, accept: AcceptHeader = None) -> Response | Wiring:
    return _answer(servo.sheet, accept)


@router.post(
    "/wiring",
    operation_id="workOutWiring",
    summary="How any build sheet is wired, without a servo; as JSON or SVG",
    response_model=Wiring,
    responses={**ANSWER, **problems("too-large", "not-json")},
    openapi_extra=SHEET_SCHEMA,
)
@needs(Role.WATCH, any_servo=True)
async def work_out_wiring(body: SheetBody, accept: AcceptHeader = None) -> Response | Wiring:
    return _answer(parse_build(body), accept)
