"""`/notices`: what needs a person, at one place."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Path

from geartender.access.roles import Role, needs
from geartender.api.deps import ServiceDep, WhoDep
from geartender.api.models import Listing, NoticeReport
from geartender.api.openapi import problems
from geartender.errors import Busy, Unknown

router = APIRouter(prefix="/notices", tags=["journal"])

NoticeId = Annotated[str, Path(alias="id", description="Id of the notice.", examples=["missed:dawn"], max_length=128)]


@router.get("", operation_id="listNotices", summary="What needs a person, newest first", responses=problems())
@needs(Role.WATCH)
async def list_notices(service: ServiceDep) -> Listing[NoticeReport]:
    return Listing[NoticeReport](items=[NoticeReport.of(notice) for notice in service.store.notices.all()])


@router.delete(
    "/{id}",
    status_code=204,
    operation_id="putNoticeAside",
    summary="Put a notice aside that stays until somebody has seen it",
    responses=problems("unknown", "busy"),
)
@needs(Role.DRIVE)
async def put_aside(service: ServiceDep, notice_id: NoticeId, who: WhoDep) -> None:
    notice = service.store.notices.get(notice_id)
    if notice is None:
        raise Unknown("There is no such notice; what it was about is over.")
    if not notice.lasting:
        raise Busy("It stands for as long as what it is about: " + notice.advice)
    service.store.journal.tell("notice", f"put aside: {notice.text}", who=who.label, via=who.via, servo=notice.servo)
    service.store.notices.clear(notice.kind, notice.name)
