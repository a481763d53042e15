"""`/servos/{s}/…`: start motion, follow it, stop it."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from typing import Annotated

from fastapi import APIRouter, Header, Path, Request, Response
from fastapi.exceptions import RequestValidationError
from pydantic import BaseModel

from geartender.access.roles import Role, needs
from geartender.api.accepts import prefers
from geartender.api.deps import AnyoneDep, KeyDep, ServiceDep, ServoDep, WaitDep, WhoDep
from geartender.api.examples import MOTION, SNAPSHOT, TRACE
from geartender.api.models import Listing, StopRequest
from geartender.api.once import Key
from geartender.api.openapi import example, problems
from geartender.api.prefer import applied, settle
from geartender.api.rows import CSV_MEDIA_TYPE, csv_text
from geartender.api.service import Service
from geartender.api.stop_first import MISTAKES
from geartender.servo.models import MotionReport, Snapshot, TraceRow
from geartender.servo.motions import Motion
from geartender.servo.requests import MoveRequest, TurnRequest

router = APIRouter(prefix="/servos/{servo}", tags=["motion"])

MotionId = Annotated[str, Path(alias="id", description="Id of the motion.", examples=["m-7"], max_length=64)]
AcceptHeader = Annotated[str | None, Header(description="`text/csv` for a table (RFC 4180).", examples=["text/csv"])]
REFUSALS = problems("unknown", "offline", "disarmed", "faulted", "helm-held", "busy", "outside-travel", "over-limit")
HOMED_REFUSALS = problems(
    "unknown", "offline", "disarmed", "not-homed", "faulted", "helm-held", "busy", "outside-travel", "over-limit"
)
STARTED = {
    **example(202, "Started; `Location` is the motion's address.", MOTION),
    **example(200, "Ended within the wait asked for.", {**MOTION, "state": "done", "actual_s": 4.21, "end_deg": 35.0}),
}


async def _begin(
    service: Service, key: Key | None, asked: BaseModel | None, start: Callable[[], Awaitable[Motion]]
) -> Motion:
    return await service.once.do(key, asked.model_dump_json() if asked else "", start)


async def _answer(request: Request, response: Response, motion: Motion, wait_s: float | None) -> MotionReport:
    """The motion as it stands, after the wait asked for: 200 if it has ended by then, else 202."""
    ended = await settle(motion.ended, wait_s)
    response.status_code = 200 if ended else 202
    response.headers["Location"] = request.url_for("motion", servo=motion.servo, id=motion.id).path
    response.headers.update(applied(wait_s))
    return motion.report()


@router.post(
    "/home",
    status_code=202,
    operation_id="home",
    summary="Find the home mark",
    responses={**STARTED, **REFUSALS},
)
@needs(Role.DRIVE)
async def home(
    request: Request,
    response: Response,
    service: ServiceDep,
    servo: ServoDep,
    who: WhoDep,
    key: KeyDep,
    wait_s: WaitDep,
) -> MotionReport:
    motion = await _begin(service, key, None, lambda: servo.home(who))
    return await _answer(request, response, motion, wait_s)


@router.post(
    "/moves",
    status_code=202,
    operation_id="move",
    summary="Go to an angle, or by an angle",
    responses={**STARTED, **HOMED_REFUSALS},
)
@needs(Role.DRIVE)
async def move(
    request: Request,
    response: Response,
    service: ServiceDep,
    servo: ServoDep,
    who: WhoDep,
    key: KeyDep,
    wait_s: WaitDep,
    body: MoveRequest,
) -> MotionReport:
    motion = await _begin(service, key, body, lambda: servo.move(who, body))
    return await _answer(request, response, motion, wait_s)


@router.post(
    "/turns",
    status_code=202,
    operation_id="turn",
    summary="Rotate at a held speed",
    responses={**STARTED, **REFUSALS},
)
@needs(Role.DRIVE)
async def turn(
    request: Request,
    response: Response,
    service: ServiceDep,
    servo: ServoDep,
    who: WhoDep,
    key: KeyDep,
    wait_s: WaitDep,
    body: TurnRequest,
) -> MotionReport:
    motion = await _begin(service, key, body, lambda: servo.turn(who, body))
    return await _answer(request, response, motion, wait_s)


@router.post(
    "/stop",
    operation_id="stop",
    summary="Stop; waits for nothing, and needs no helm",
    description="What cannot be read in the body makes it a category 1 stop all the same, and is then answered as a problem.",
    responses={**example(200, "Sent; with `Prefer: wait`, confirmed.", SNAPSHOT), **problems("unknown")},
    openapi_extra={"requestBody": {"content": {"application/json": {"schema": StopRequest.model_json_schema()}}}},
)
@needs(Role.WATCH, unlimited=True)
async def stop(request: Request, response: Response, servo: ServoDep, who: AnyoneDep, wait_s: WaitDep) -> Snapshot:
    """The answer to a stop; the stop itself was sent before anything else (stop_first.py)."""
    mistakes: RequestValidationError | None = request.scope[MISTAKES]
    if mistakes is not None:
        raise mistakes
    await settle(servo.stopped, wait_s)
    response.headers.update(applied(wait_s))
    return servo.snapshot(who)


@router.get(
    "/motions",
    operation_id="listMotions",
    summary="Motions still remembered, newest first",
    responses=problems("unknown"),
)
@needs(Role.WATCH)
async def list_motions(servo: ServoDep) -> Listing[MotionReport]:
    return Listing[MotionReport](items=[motion.report() for motion in servo.motions()])


@router.get(
    "/motions/{id}",
    name="motion",
    operation_id="getMotion",
    summary="One motion and what became of it",
    responses={**example(200, "The motion now.", MOTION), **problems("unknown")},
)
@needs(Role.WATCH)
async def get_motion(response: Response, servo: ServoDep, motion_id: MotionId, wait_s: WaitDep) -> MotionReport:
    motion = servo.motion(motion_id)
    await settle(motion.ended, wait_s)
    response.headers.update(applied(wait_s))
    return motion.report()


@router.get(
    "/motions/{id}/trace",
    operation_id="getTrace",
    summary="The fast record of a motion, as JSON or CSV",
    response_model=Listing[TraceRow],
    responses={
        200: {
            "description": "The rows kept so far, oldest first.",
            "content": {"application/json": {"example": TRACE}, "text/csv": {"schema": {"type": "string"}}},
        },
        **problems("unknown"),
    },
)
@needs(Role.WATCH)
async def get_trace(servo: ServoDep, motion_id: MotionId, accept: AcceptHeader = None) -> Response | Listing[TraceRow]:
    rows = servo.motion(motion_id).trace_rows()
    if prefers(accept, "text/csv"):
        return Response(csv_text(TraceRow, rows), media_type=CSV_MEDIA_TYPE, headers={"Vary": "Accept"})
    return Listing[TraceRow](items=rows)
