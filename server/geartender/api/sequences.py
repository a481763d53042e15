"""`/sequences`: stored lists of steps, what they would do, and starting them."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request, Response
from pydantic import Field

from geartender.access.roles import Role, needs
from geartender.api import documents
from geartender.api.deps import KeyDep, ServiceDep, WaitDep, WhoDep
from geartender.api.documents import DocumentBody, DocumentName, IfMatch, IfNoneMatch
from geartender.api.examples import RUN
from geartender.api.models import Listing
from geartender.api.openapi import example, problems
from geartender.api.prefer import applied, settle
from geartender.api.service import Service
from geartender.errors import Busy
from geartender.sequences.check import check_sequence
from geartender.sequences.model import Name, called
from geartender.sequences.preview import Preview, preview_of
from geartender.sequences.reading import parse_sequence, sequence_document
from geartender.sequences.run_models import RunReport
from geartender.sequences.runs import SEQUENCE
from geartender.sequences.timetable import TIMETABLE
from geartender.servo.models import Shown
from geartender.servo.requests import Angle
from geartender.servo.requests import Request as RequestBody

router = APIRouter(prefix="/sequences", tags=["sequences"])

SHOWN: dict[int | str, dict[str, Any]] = {
    200: {
        "description": "The sequence.",
        "headers": {"ETag": {"schema": {"type": "string"}, "description": "Its revision."}},
    }
}
NOT_CHANGED: dict[int | str, dict[str, Any]] = {304: {"description": "You have it already."}}
MADE: dict[int | str, dict[str, Any]] = {201: {"description": "Made."}}
PLAN_REFUSALS = ("unknown", "outside-travel", "over-limit")


class SequenceItem(Shown):
    """One stored sequence in the list."""

    name: str
    etag: str = Field(description="Its revision, for If-Match.")
    document: dict[str, Any] = Field(description="What was saved.")


class PreviewRequest(RequestBody):
    """What to work out. An empty body: the sequence as it is stored, from where the servo stands."""

    document: dict[str, Any] | None = Field(None, description="A sequence to work out in place of the stored one.")
    servo: Name | None = Field(None, description="The servo, in place of the one that the sequence names.")
    from_deg: Angle | None = Field(None, description="Where its servo is to begin, degrees; else where it stands.")


class RunRequest(RequestBody):
    """How to run. An empty body: on the servo that the sequence names."""

    servo: Name | None = Field(None, description="The servo, in place of the one that the sequence names.")


@router.get("", operation_id="listSequences", summary="All stored sequences, by name", responses=problems())
@needs(Role.WATCH)
async def list_sequences(service: ServiceDep) -> Listing[SequenceItem]:
    stored = await service.store.documents(SEQUENCE)
    return Listing[SequenceItem](
        items=[SequenceItem(name=one.name, etag=one.etag, document=one.body) for one in stored]
    )


@router.get(
    "/{name}",
    operation_id="getSequence",
    summary="One sequence, as it was saved",
    response_model=None,
    responses={**SHOWN, **NOT_CHANGED, **problems("unknown")},
)
@needs(Role.WATCH)
async def get_sequence(
    response: Response, service: ServiceDep, name: DocumentName, if_none_match: IfNoneMatch = None
) -> Response | dict[str, Any]:
    document = await service.store.document(SEQUENCE, name)
    response.headers.update(documents.headers_of(document))
    return documents.not_modified(document, if_none_match) or document.body


@router.put(
    "/{name}",
    operation_id="putSequence",
    summary="Save a sequence; it is checked as a whole, with every sequence that it runs",
    response_model=None,
    responses={
        **SHOWN,
        **MADE,
        **problems("stale", "revision-required", "not-stored", "too-large", "not-json", *PLAN_REFUSALS),
    },
    openapi_extra=documents.schema_of("Sequence"),
)
@needs(Role.DRIVE)
async def put_sequence(
    response: Response,
    service: ServiceDep,
    name: DocumentName,
    who: WhoDep,
    body: DocumentBody,
    if_match: IfMatch = None,
    if_none_match: IfNoneMatch = None,
) -> dict[str, Any]:
    documents.new_name(name)
    sequence = parse_sequence(body)
    documents.require(await documents.found(service, SEQUENCE, name), if_match, if_none_match)
    library = await service.runs.library()
    await check_sequence(name, sequence, library, service.runs.sheets(), sequence.servo or service.runs.only_servo())
    document, made = await documents.put(
        service, SEQUENCE, name, sequence_document(sequence), (if_match, if_none_match), who
    )
    response.status_code = 201 if made else 200
    response.headers.update(documents.headers_of(document))
    return document.body


@router.delete(
    "/{name}",
    status_code=204,
    operation_id="deleteSequence",
    summary="Delete a sequence that nothing uses",
    responses=problems("unknown", "busy", "stale", "revision-required", "not-stored"),
)
@needs(Role.DRIVE)
async def delete_sequence(service: ServiceDep, name: DocumentName, who: WhoDep, if_match: IfMatch = None) -> None:
    await _require_unused(service, name)
    await documents.delete(service, SEQUENCE, name, if_match, who)


async def _require_unused(service: Service, name: str) -> None:
    library = await service.runs.library()
    callers = [f"the sequence {other}" for other, one in library.items() if any(to == name for _, to in called(one))]
    timetable = await service.store.documents(TIMETABLE)
    callers += [f"the timetable's {entry.name}" for entry in timetable if entry.body.get("sequence") == name]
    if callers:
        raise Busy(f"It is used by {' and '.join(callers)}. Take it out there first.")


@router.post(
    "/{name}/preview",
    operation_id="previewSequence",
    summary="What a sequence would do: times, path, torque, duty, energy; nothing moves",
    responses=problems("too-large", "not-json", *PLAN_REFUSALS),
)
@needs(Role.WATCH)
async def preview_sequence(service: ServiceDep, name: DocumentName, body: PreviewRequest | None = None) -> Preview:
    asked = body or PreviewRequest()
    draft = None if asked.document is None else parse_sequence(asked.document)
    if draft is not None:
        library = await service.runs.library()
        await check_sequence(name, draft, library, service.runs.sheets(), draft.servo or service.runs.only_servo())
    plan = await service.runs.plan(name, asked.servo, draft, asked.from_deg)
    return await service.previews.submit(lambda: preview_of(plan.found))


@router.post(
    "/{name}/runs",
    status_code=202,
    operation_id="runSequence",
    summary="Run a sequence",
    responses={
        **example(202, "Started; `Location` is the run's address.", RUN),
        **example(200, "Ended within the wait asked for.", {**RUN, "state": "done", "actual_s": 612.4}),
        **problems(
            *(
                "offline",
                "disarmed",
                "not-homed",
                "faulted",
                "helm-held",
                "busy",
                "not-stored",
                "too-large",
                "not-json",
            ),
            *PLAN_REFUSALS,
        ),
    },
)
@needs(Role.DRIVE)
async def run_sequence(
    request: Request,
    response: Response,
    service: ServiceDep,
    name: DocumentName,
    who: WhoDep,
    key: KeyDep,
    wait_s: WaitDep,
    body: RunRequest | None = None,
) -> RunReport:
    asked = body or RunRequest()
    run = await service.once.do(key, asked.model_dump_json(), lambda: service.runs.start(name, who, asked.servo))
    ended = await settle(run.ended, wait_s)
    response.status_code = 200 if ended else 202
    response.headers["Location"] = request.url_for("run", id=run.id).path
    response.headers.update(applied(wait_s))
    return await service.runs.report(run.id)
