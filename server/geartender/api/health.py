"""For whoever watches over the service: `/healthz`, whether it is alive, ready, and why not; `/metrics`, its figures."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from importlib.metadata import version

from fastapi import APIRouter, Request, Response

from geartender.access.entrance import ADMISSION
from geartender.access.roles import Role, needs, open_to_anybody
from geartender.api.deps import ServiceDep
from geartender.api.metrics import MEDIA_TYPE
from geartender.api.models import Health, LinkHealth
from geartender.api.openapi import problems
from geartender.firmware.version import VERSION as FIRMWARE_VERSION
from geartender.servo.models import LinkReport, ServoState
from geartender.store.trouble import TELLS, Trouble

router = APIRouter(tags=["service"])


@router.get(
    "/healthz",
    operation_id="getHealth",
    summary="Whether the service is alive and ready, and why not",
    description="An answer at all says that it is alive. `ready` also needs a store that keeps things and every firmware. "
    "More is told only to those who were let in.",
    responses=problems(),
)
@open_to_anybody
async def healthz(request: Request, service: ServiceDep) -> Health:
    let_in = request.scope[ADMISSION] is not None and request.scope[ADMISSION].servo is None
    trouble = service.store.trouble
    shown = {name: servo.snapshot() for name, servo in service.servos.items()}
    links = {name: one.link for name, one in shown.items()}
    waiting = [name for name, one in shown.items() if one.state is ServoState.OFFLINE]
    reasons = list(reasons_not_ready(trouble, links, waiting))
    return Health(
        alive=True,
        ready=not reasons,
        reasons=reasons if let_in else None,
        status="impaired" if trouble else "ok",
        version=version("geartender"),
        store=(trouble or "ok") if let_in else None,
        servos={name: one.state.value for name, one in shown.items()} if let_in else None,
        links={
            name: LinkHealth(state=link.state, firmware_version=link.firmware_version) for name, link in links.items()
        }
        if let_in
        else None,
    )


@router.get(
    "/metrics",
    operation_id="getMetrics",
    summary="Figures for a time series database",
    response_class=Response,
    responses={200: {"content": {"text/plain": {"schema": {"type": "string"}}}}, **problems()},
)
@needs(Role.WATCH)
async def metrics(service: ServiceDep) -> Response:
    return Response(service.metrics.exposition(), headers={"Content-Type": MEDIA_TYPE})


def reasons_not_ready(
    trouble: Trouble | None, links: Mapping[str, LinkReport], waiting: Collection[str] = ()
) -> Iterator[str]:
    """In plain words, why the service cannot do its work just now. `waiting` names the servos without live values."""
    if trouble is not None:
        yield TELLS[trouble]
    for name, link in links.items():
        if link.state == "incompatible":
            yield f"{name}: the firmware speaks another protocol; run: geartender firmware install"
        elif link.state != "connected":
            yield f"{name}: no link to the firmware: {link.reason or link.state}"
        elif name in waiting:
            yield f"{name}: connected, and waiting for its first values"
        elif link.firmware_version != FIRMWARE_VERSION:
            yield f"{name}: its firmware is {link.firmware_version}, not {FIRMWARE_VERSION}; run: geartender firmware install"
