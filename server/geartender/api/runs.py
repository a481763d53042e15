"""`/runs`: executions of sequences, and ending, holding and resuming them."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Path, Query, Response

from geartender.access.roles import Role, needs
from geartender.api.deps import AnyoneDep, ServiceDep, WaitDep, WhoDep
from geartender.api.examples import RUN
from geartender.api.models import Listing
from geartender.api.openapi import example, problems
from geartender.api.prefer import applied, settle
from geartender.errors import Invalid
from geartender.sequences.run_models import RunReport

router = APIRouter(prefix="/runs", tags=["sequences"])

RunId = Annotated[str, Path(alias="id", description="Id of the run.", examples=["r-3fa9c04d1b22"], max_length=64)]
Limit = Annotated[int, Query(ge=1, le=200, description="Runs at once.")]
Cursor = Annotated[str | None, Query(description="`next` of the part before.", max_length=20)]
SequenceName = Annotated[str | None, Query(description="Only runs of this sequence.", max_length=80)]
After = Annotated[int, Query(ge=-1, description="Steps from behind this position on; -1 from the first.")]

SHOWN = example(200, "The run now.", RUN)


@router.get(
    "", operation_id="listRuns", summary="Runs, newest first, without their steps", responses=problems("not-stored")
)
@needs(Role.WATCH)
async def list_runs(
    service: ServiceDep, limit: Limit = 50, cursor: Cursor = None, sequence: SequenceName = None
) -> Listing[RunReport]:
    if cursor is not None and not cursor.isdecimal():
        raise Invalid("The cursor is the `next` of the part before, unchanged.")
    items, follows = await service.runs.listed(limit, None if cursor is None else int(cursor), sequence)
    return Listing[RunReport](items=items, next=None if follows is None else str(follows))


@router.get(
    "/{id}",
    name="run",
    operation_id="getRun",
    summary="One run, with its steps so far",
    responses={**SHOWN, **problems("unknown", "not-stored")},
)
@needs(Role.WATCH)
async def get_run(
    response: Response, service: ServiceDep, run_id: RunId, wait_s: WaitDep, after: After = -1
) -> RunReport:
    run = service.runs.live(run_id)
    if run is not None:
        await settle(run.ended, wait_s)
    response.headers.update(applied(wait_s))
    return await service.runs.report(run_id, after)


@router.post(
    "/{id}/stop",
    operation_id="stopRun",
    summary="End a run: what moves comes to rest, and drive stays on",
    responses={**SHOWN, **problems("unknown", "not-stored")},
)
@needs(Role.WATCH, unlimited=True)
async def stop_run(service: ServiceDep, run_id: RunId, who: AnyoneDep) -> RunReport:
    return await service.runs.stop(run_id, who)


@router.post(
    "/{id}/hold",
    operation_id="holdRun",
    summary="Hold a run: what moves comes to rest, and goes on when it is resumed",
    responses={**SHOWN, **problems("unknown", "busy", "not-stored")},
)
@needs(Role.WATCH)
async def hold_run(service: ServiceDep, run_id: RunId, who: AnyoneDep) -> RunReport:
    return await service.runs.hold(run_id, who)


@router.post(
    "/{id}/resume",
    operation_id="resumeRun",
    summary="Let a held run go on",
    responses={**SHOWN, **problems("unknown", "busy", "not-stored")},
)
@needs(Role.DRIVE)
async def resume_run(service: ServiceDep, run_id: RunId, who: WhoDep) -> RunReport:
    return await service.runs.resume(run_id, who)
