"""`/servos/{s}/build` and the figures: what was built, and what follows from it."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from fastapi import APIRouter, Body, Header, Query, Response

from geartender.access.roles import Role, needs
from geartender.api.accepts import prefers
from geartender.api.deps import AdmissionDep, ServiceDep, ServoDep, WhoDep
from geartender.api.openapi import problems
from geartender.api.preconditions import entity_tag, require_revision, weakly_matches
from geartender.api.service import Service
from geartender.build import BuildSheet, Figures, build_document, figures, parse_build, write_build
from geartender.errors import Refused
from geartender.servo.motions import Who
from geartender.servo.servo import Servo

router = APIRouter(tags=["build"])

IfMatch = Annotated[str | None, Header(alias="If-Match", description="ETag of the sheet that this one replaces.")]
IfNoneMatch = Annotated[str | None, Header(alias="If-None-Match", description="ETag of the sheet you have already.")]
AcceptHeader = Annotated[
    str | None, Header(description="`application/toml` for a file.", examples=["application/toml"])
]
SheetBody = Annotated[dict[str, Any], Body()]
SHEET_SCHEMA: dict[str, Any] = {
    "requestBody": {
        "required": True,
        "content": {"application/json": {"schema": {"$ref": "#/components/schemas/BuildSheet"}}},
    }
}
ETAG_HEADER: dict[int | str, dict[str, Any]] = {
    200: {
        "description": "The sheet.",
        "headers": {"ETag": {"schema": {"type": "string"}, "description": "Its revision."}},
    }
}
Basis = Annotated[
    Literal["built", "designed"],
    Query(
        description="`built`: what the bench measured stands in place of what was designed. `designed`: the sheet alone."
    ),
]
TOML_MEDIA_TYPE = "application/toml"
TOML_CONTENT: dict[str, Any] = {TOML_MEDIA_TYPE: {"schema": {"type": "string"}}}
NOT_CHANGED: dict[int | str, dict[str, Any]] = {304: {"description": "You have it already."}}


def build_file(servo: str) -> str:
    """Name of the file in the data folder that holds a servo's build sheet once it was changed over HTTP."""
    return f"servos/{servo}/build.toml"


def sheet_tag(sheet: BuildSheet) -> str:
    """The strong ETag of a build sheet."""
    return entity_tag(sheet.model_dump_json(exclude_unset=True, exclude_none=True))


def toml_response(sheet: BuildSheet) -> Response:
    """The sheet as a TOML file. Without an ETag: it is another representation than the one that a PUT replaces."""
    headers = {"Vary": "Accept", "Cache-Control": "no-cache"}
    return Response(write_build(sheet), media_type=TOML_MEDIA_TYPE, headers=headers)


@router.get(
    "/servos/{servo}/build",
    operation_id="getBuild",
    summary="The build sheet in force, with what was written into it; as JSON or TOML",
    response_model=BuildSheet,
    response_model_exclude_unset=True,
    response_model_exclude_none=True,
    responses={200: {**ETAG_HEADER[200], "content": TOML_CONTENT}, **NOT_CHANGED, **problems("unknown")},
)
@needs(Role.WATCH)
async def get_build(
    response: Response, servo: ServoDep, if_none_match: IfNoneMatch = None, accept: AcceptHeader = None
) -> Response | BuildSheet:
    if prefers(accept, TOML_MEDIA_TYPE):
        return toml_response(servo.sheet)
    headers = {"ETag": sheet_tag(servo.sheet), "Cache-Control": "no-cache", "Vary": "Accept"}
    if if_none_match is not None and weakly_matches(if_none_match, headers["ETag"]):
        return Response(status_code=304, headers=headers)
    response.headers.update(headers)
    return servo.sheet


@router.put(
    "/servos/{servo}/build",
    operation_id="putBuild",
    summary="Put another build sheet in force; only while disarmed",
    response_model=BuildSheet,
    response_model_exclude_unset=True,
    response_model_exclude_none=True,
    responses={
        **ETAG_HEADER,
        **problems(
            "proof-needed", "unknown", "busy", "stale", "revision-required", "too-large", "not-json", "not-stored"
        ),
    },
    openapi_extra=SHEET_SCHEMA,
)
@needs(Role.MANAGE)
async def put_build(
    response: Response,
    service: ServiceDep,
    servo: ServoDep,
    body: SheetBody,
    if_match: IfMatch = None,
    if_none_match: IfNoneMatch = None,
    *,
    who: WhoDep,
    admission: AdmissionDep,
) -> BuildSheet:
    sheet = parse_build(body)
    async with service.changing_documents:
        require_revision(if_match, if_none_match, sheet_tag(servo.sheet))
        if changes_guards(servo.sheet, sheet):
            service.admissions.require_proof(admission)
        await _record_and_replace(service, servo, sheet, who)
    response.headers["ETag"] = sheet_tag(sheet)
    return sheet


async def _record_and_replace(service: Service, servo: Servo, sheet: BuildSheet, who: Who) -> None:
    """Write down what changes, then change it, then write down that it did. Raises NotStored, and then nothing changed."""
    journal = service.store.journal
    changes = {"changes": differences(build_document(servo.sheet), build_document(sheet))}
    intent = await journal.intend(
        "build", "change the build sheet", who=who.label, via=who.via, servo=servo.name, what=changes, must=True
    )
    try:
        await _replace(service, servo, sheet)
    except (Refused, OSError) as error:
        journal.settle(intent, "refused", reason=str(error))
        raise
    journal.settle(intent, "done")


def changes_guards(before: BuildSheet, after: BuildSheet) -> bool:
    """Whether it changes what guards the servo: limits, overload, travel, and all from which they follow; so all but the words."""
    harmless = {"name", "note"}
    return before.model_dump(exclude=harmless) != after.model_dump(exclude=harmless)


def differences(before: object, after: object, path: str = "") -> dict[str, list[Any]]:
    """What differs between two documents: by path, the value before and the value after (null: it is not there)."""
    if isinstance(before, dict) and isinstance(after, dict):
        found: dict[str, list[Any]] = {}
        for name in sorted(before.keys() | after.keys()):
            found |= differences(before.get(name), after.get(name), f"{path}.{name}" if path else name)
        return found
    if isinstance(before, list) and isinstance(after, list) and len(before) == len(after):
        found = {}
        for number, (one, other) in enumerate(zip(before, after, strict=True)):
            found |= differences(one, other, f"{path}[{number}]")
        return found
    return {} if before == after else {path: [before, after]}


async def _replace(service: Service, servo: Servo, sheet: BuildSheet) -> None:
    """Put the sheet in force and keep it; when it cannot be kept, the old one stays in force."""
    before = servo.sheet
    servo.replace_build(sheet)
    try:
        await service.shelf.write(build_file(servo.name), write_build(sheet))
    except OSError:
        servo.replace_build(before)
        raise


@router.get(
    "/servos/{servo}/figures",
    operation_id="getFigures",
    summary="What follows from the build sheet in force, with what the bench measured in its place",
    responses=problems("unknown"),
)
@needs(Role.WATCH)
async def get_figures(servo: ServoDep, by: Basis = "built") -> Figures:
    return figures(servo.sheet if by == "designed" else servo.built)


@router.post(
    "/figures",
    operation_id="workOutFigures",
    summary="What follows from any build sheet, without a servo",
    responses=problems("too-large", "not-json"),
    openapi_extra=SHEET_SCHEMA,
)
@needs(Role.WATCH, any_servo=True)
async def work_out_figures(body: SheetBody) -> Figures:
    return figures(parse_build(body))
