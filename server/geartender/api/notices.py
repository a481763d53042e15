"""`/notices`: what needs a person, at one place."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated

from fastapi import APIRouter, Path
from pydantic import Field

from geartender.api.deps import ServiceDep, WhoDep
from geartender.api.models import Listing
from geartender.api.openapi import problems
from geartender.errors import Busy, Unknown
from geartender.servo.models import Shown
from geartender.store.notices import Notice

router = APIRouter(prefix="/notices", tags=["journal"])

NoticeId = Annotated[str, Path(alias="id", description="Id of the notice.", examples=["missed:dawn"], max_length=128)]


class NoticeReport(Shown):
    """Something that needs a person."""

    id: str
    kind: str = Field(description="`fault missed clock disk store battery …`")
    servo: str | None
    text: str = Field(description="What is the matter.")
    advice: str = Field(description="What to do.")
    since: datetime = Field(description="Since when, UTC.")
    can_be_put_aside: bool = Field(
        description="Whether a person may put it aside; others go when what they are about is over."
    )


@router.get("", operation_id="listNotices", summary="What needs a person, newest first", responses=problems())
async def list_notices(service: ServiceDep) -> Listing[NoticeReport]:
    return Listing[NoticeReport](items=[report(notice) for notice in service.store.notices.all()])


@router.delete(
    "/{id}",
    status_code=204,
    operation_id="putNoticeAside",
    summary="Put a notice aside that stays until somebody has seen it",
    responses=problems("unknown", "busy"),
)
async def put_aside(service: ServiceDep, notice_id: NoticeId, who: WhoDep) -> None:
    notice = service.store.notices.get(notice_id)
    if notice is None:
        raise Unknown("There is no such notice; what it was about is over.")
    if not notice.lasting:
        raise Busy("It stands for as long as what it is about: " + notice.advice)
    service.store.journal.tell("notice", f"put aside: {notice.text}", who=who.label, via=who.via, servo=notice.servo)
    service.store.notices.clear(notice.kind, notice.name)


def report(notice: Notice) -> NoticeReport:
    """A notice as the outside sees it."""
    return NoticeReport(
        id=notice.id,
        kind=notice.kind,
        servo=notice.servo,
        text=notice.text,
        advice=notice.advice,
        since=notice.since,
        can_be_put_aside=notice.lasting,
    )
