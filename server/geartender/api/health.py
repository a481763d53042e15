"""`/healthz`: whether the service runs. Outside the interface's version, for whoever watches over it."""

from __future__ import annotations

from fastapi import APIRouter

from geartender.api.deps import ServiceDep
from geartender.api.models import Health
from geartender.api.openapi import problems

router = APIRouter(tags=["service"])


@router.get("/healthz", operation_id="getHealth", summary="Whether the service runs", responses=problems())
async def healthz(service: ServiceDep) -> Health:
    trouble = service.store.trouble
    states = {name: servo.snapshot().state.value for name, servo in service.servos.items()}
    return Health(status="impaired" if trouble else "ok", store=trouble or "ok", servos=states)
