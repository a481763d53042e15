"""`/servos`: what there is, what it is doing, arming, the helm, the speed override."""

from __future__ import annotations

from fastapi import APIRouter

from geartender.access.roles import Role, needs
from geartender.api.deps import AdmissionDep, ServiceDep, ServoDep, WhoDep
from geartender.api.examples import SNAPSHOT
from geartender.api.models import HelmRequest, Listing, OverrideRequest, SourceRequest
from geartender.api.openapi import example, problems
from geartender.servo.models import Snapshot

router = APIRouter(prefix="/servos", tags=["servos"])

SHOWN = example(200, "The servo now.", SNAPSHOT)


@router.get("", operation_id="listServos", summary="All servos", responses={**problems()})
@needs(Role.WATCH, any_servo=True)
async def list_servos(service: ServiceDep, admission: AdmissionDep, who: WhoDep) -> Listing[Snapshot]:
    shown = [servo for servo in service.servos.values() if admission.servo in (None, servo.name)]
    return Listing[Snapshot](items=[servo.snapshot(who) for servo in shown])


@router.get("/{servo}", operation_id="getServo", summary="One servo now", responses={**SHOWN, **problems("unknown")})
@needs(Role.WATCH)
async def get_servo(servo: ServoDep, who: WhoDep) -> Snapshot:
    return servo.snapshot(who)


@router.post(
    "/{servo}/arm",
    operation_id="arm",
    summary="Let the bridge drive; moves nothing",
    responses={**SHOWN, **problems("unknown", "offline", "faulted", "helm-held", "busy")},
)
@needs(Role.DRIVE)
async def arm(servo: ServoDep, who: WhoDep) -> Snapshot:
    await servo.arm(who)
    return servo.snapshot(who)


@router.post(
    "/{servo}/disarm",
    operation_id="disarm",
    summary="Take drive away at once",
    responses={**SHOWN, **problems("unknown", "offline")},
)
@needs(Role.WATCH)
async def disarm(servo: ServoDep, who: WhoDep) -> Snapshot:
    await servo.disarm(who)
    return servo.snapshot(who)


@router.post(
    "/{servo}/reset",
    operation_id="reset",
    summary="Clear a fault; starts nothing and stays disarmed",
    responses={**SHOWN, **problems("unknown", "offline", "helm-held", "busy")},
)
@needs(Role.DRIVE)
async def reset(servo: ServoDep, who: WhoDep) -> Snapshot:
    await servo.reset(who)
    return servo.snapshot(who)


@router.put(
    "/{servo}/override",
    operation_id="setOverride",
    summary="Scale the planned speed, also while it moves",
    responses={**SHOWN, **problems("unknown", "offline", "helm-held", "busy", "over-limit")},
)
@needs(Role.DRIVE)
async def set_override(servo: ServoDep, who: WhoDep, body: OverrideRequest) -> Snapshot:
    await servo.set_override(who, body.speed)
    return servo.snapshot(who)


@router.post(
    "/{servo}/release",
    operation_id="release",
    summary="Let go of the port while disarmed, so that another program can use it",
    responses={**SHOWN, **problems("unknown", "helm-held", "busy")},
)
@needs(Role.MANAGE)
async def release(servo: ServoDep, who: WhoDep) -> Snapshot:
    servo.release_port(who)
    return servo.snapshot(who)


@router.post(
    "/{servo}/reconnect",
    operation_id="reconnect",
    summary="Take the port again",
    responses={**SHOWN, **problems("unknown")},
)
@needs(Role.MANAGE)
async def reconnect(servo: ServoDep, who: WhoDep) -> Snapshot:
    servo.reconnect(who)
    return servo.snapshot(who)


@router.put(
    "/{servo}/source",
    operation_id="setSource",
    summary="Let the pulse at the input lead, or take the lead back",
    responses={**SHOWN, **problems("unknown", "offline", "faulted", "not-homed", "helm-held", "busy")},
)
@needs(Role.DRIVE)
async def set_source(servo: ServoDep, who: WhoDep, body: SourceRequest) -> Snapshot:
    if body.source == "pulse":
        await servo.give_lead(who)
    else:
        await servo.take_lead(who)
    return servo.snapshot(who)


@router.post(
    "/{servo}/helm",
    operation_id="takeHelm",
    summary="Take the right to start motion",
    responses={**SHOWN, **problems("unknown", "helm-held")},
)
@needs(Role.DRIVE)
async def take_helm(servo: ServoDep, who: WhoDep, body: HelmRequest | None = None) -> Snapshot:
    servo.take_helm(who, force=body is not None and body.force)
    return servo.snapshot(who)


@router.delete(
    "/{servo}/helm",
    operation_id="giveHelm",
    summary="Give the helm back",
    responses={**SHOWN, **problems("unknown", "helm-held")},
)
@needs(Role.DRIVE)
async def give_helm(servo: ServoDep, who: WhoDep) -> Snapshot:
    servo.give_helm(who)
    return servo.snapshot(who)
