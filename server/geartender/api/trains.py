"""`/trains`: which gear trains reach a speed and a torque at once, with the motor of a build sheet."""

from __future__ import annotations

import json
from collections.abc import AsyncGenerator, AsyncIterator
from contextlib import aclosing
from typing import Any

from fastapi import APIRouter, Request, Response
from fastapi.responses import StreamingResponse

from geartender.access.roles import Role, needs
from geartender.api.accepts import prefers
from geartender.api.deps import ServiceDep
from geartender.api.openapi import Responses, problems
from geartender.api.train_search import SearchFailed, Word
from geartender.build import build_document, parse_build
from geartender.build.trains import TrainRequest, TrainsFound
from geartender.build.trains.task import Task
from geartender.errors import BuildSheetError, GeartenderError, Mistake

router = APIRouter(tags=["build"])

LINES = "application/x-ndjson"
PROGRESS: Responses = {
    200: {
        "description": f"The trains, best first. As `{LINES}`: lines with the `progress` from 0 to 1, at last one with the "
        "`result` or the `problem`.",
        "content": {LINES: {"schema": {"type": "string"}, "example": '{"progress": 0.42}\n'}},
    }
}


class TrainsBody(TrainRequest):
    """A request with the sheet whose motor and bridge drive the train."""

    build: dict[str, Any]
    """Give a build sheet as JSON; its meshes are replaced by those found."""


@router.post(
    "/trains",
    operation_id="findTrains",
    summary="Find the gear trains that reach a speed and a torque at once, and whose teeth bear it",
    response_model=TrainsFound,
    responses={**PROGRESS, **problems("busy", "too-large", "not-json")},
)
@needs(Role.WATCH, any_servo=True)
async def find(body: TrainsBody, request: Request, service: ServiceDep) -> Response | dict[str, Any]:
    asked = body.model_dump(mode="json", exclude={"build"}, exclude_unset=True)
    try:
        sheet = parse_build(body.build)
        Task.of(sheet, TrainRequest.model_validate(asked))  # refuses here what the search would refuse
    except BuildSheetError as error:
        raise BuildSheetError(_in_the_body(each) for each in error.items) from None
    words = service.trains.words(build_document(sheet), asked)
    if prefers(request.headers.get("Accept"), LINES):
        first = await anext(words)  # refuses while there is still a status to say so with
        return StreamingResponse(_lines(first, words), media_type=LINES)
    async with aclosing(words):
        async for word in words:
            if "result" in word:
                result: dict[str, Any] = word["result"]
                return result
            if await request.is_disconnected():
                break
    raise SearchFailed("the search ended without a result")


async def _lines(first: Word, words: AsyncGenerator[Word]) -> AsyncIterator[str]:
    """The search's own lines; when nobody reads them any more, the search ends."""
    async with aclosing(words):
        yield json.dumps(first) + "\n"
        try:
            async for word in words:
                yield json.dumps(word) + "\n"
        except GeartenderError as error:
            yield json.dumps({"problem": {"detail": str(error)}}) + "\n"


def _in_the_body(mistake: Mistake) -> Mistake:
    """A mistake of the sheet at its place in the request's body."""
    return Mistake(f"build.{mistake.path}".rstrip("."), f"#/build{mistake.pointer[1:]}", mistake.text)
