"""`/simulation`, only with `demo`: what the mechanics really do, and trouble for them."""

from __future__ import annotations

from fastapi import APIRouter

from geartender.access.roles import Role, needs
from geartender.api.deps import SimulationDep
from geartender.api.examples import TRUTH
from geartender.api.models import SimulationRequest, TruthReport
from geartender.api.openapi import example, problems

router = APIRouter(prefix="/simulation", tags=["simulation"])

SHOWN = {**example(200, "The mechanics now.", TRUTH), **problems("unknown", "offline")}


@router.get("", operation_id="getTruth", summary="What the mechanics really do", responses=SHOWN)
@needs(Role.WATCH)
async def get_truth(simulation: SimulationDep) -> TruthReport:
    return TruthReport.model_validate(await simulation.truth())


@router.post("", operation_id="commandSimulation", summary="Make trouble, or end it", responses=SHOWN)
@needs(Role.DRIVE)
async def command(simulation: SimulationDep, body: SimulationRequest) -> TruthReport:
    await simulation.command(body.command)
    return TruthReport.model_validate(await simulation.truth())
