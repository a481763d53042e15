"""What the routes of stored documents share: conditions on revisions, and the headers that carry them."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import Body, Header, Path, Response

from geartender.api.preconditions import require_revision, weakly_matches
from geartender.api.service import Service
from geartender.errors import Invalid, RevisionRequired, Stale, Unknown
from geartender.sequences.model import NAME_PATTERN, fit_name
from geartender.servo.motions import Who
from geartender.store import Document

DocumentName = Annotated[
    str, Path(alias="name", description="Name of the document.", examples=["air-at-noon"], max_length=80)
]
IfMatch = Annotated[str | None, Header(alias="If-Match", description="ETag of what this replaces.")]
IfNoneMatch = Annotated[
    str | None, Header(alias="If-None-Match", description="`*` to make a new one; or the ETag you have already.")
]
DocumentBody = Annotated[dict[str, Any], Body()]

MISSING = "There is nothing of that name any more, so it cannot be changed. To make it, send If-None-Match: *."


def new_name(name: str) -> str:
    """A name that may be given to a document. Raises Invalid."""
    try:
        return fit_name(name)
    except ValueError as error:
        raise Invalid(f"The name {error}.", pattern=NAME_PATTERN) from None


def schema_of(name: str) -> dict[str, Any]:
    """The description of a body that is read by hand, so that every mistake in it is found."""
    schema = {"$ref": f"#/components/schemas/{name}"}
    return {"requestBody": {"required": True, "content": {"application/json": {"schema": schema}}}}


async def found(service: Service, kind: str, name: str) -> Document | None:
    """A document, or None."""
    try:
        return await service.store.document(kind, name)
    except Unknown:
        return None


def headers_of(document: Document) -> dict[str, str]:
    """Headers of an answer that shows a document."""
    return {"ETag": document.etag, "Cache-Control": "no-cache"}


def not_modified(document: Document, if_none_match: str | None) -> Response | None:
    """304 when the asker has it already."""
    if if_none_match is not None and weakly_matches(if_none_match, document.etag):
        return Response(status_code=304, headers=headers_of(document))
    return None


def require(before: Document | None, if_match: str | None, if_none_match: str | None) -> int | None:
    """The revision that may be replaced, None where one is to be made. Raises Stale, RevisionRequired."""
    if before is not None:
        require_revision(if_match, if_none_match, before.etag)
        return before.revision
    if if_match is not None:
        raise Stale(MISSING)
    if if_none_match is None:
        raise RevisionRequired("Send If-None-Match: * to make a new one.")
    return None


async def put(
    service: Service,
    kind: str,
    name: str,
    body: dict[str, Any],
    conditions: tuple[str | None, str | None],
    who: Who,
) -> tuple[Document, bool]:
    """Make or replace a document; whether it was made. Written into the journal. Raises Stale, RevisionRequired, NotStored."""
    async with service.changing_documents:
        before = await found(service, kind, name)
        expected = require(before, *conditions)
        document = await service.store.put_document(kind, name, body, expected)
    tell(service, kind, name, "made" if before is None else "changed", who, body)
    return document, before is None


async def delete(service: Service, kind: str, name: str, if_match: str | None, who: Who) -> None:
    """Delete a document. Raises Unknown, Stale, RevisionRequired, NotStored."""
    async with service.changing_documents:
        before = await service.store.document(kind, name)
        require_revision(if_match, None, before.etag)
        await service.store.delete_document(kind, name, before.revision)
    tell(service, kind, name, "deleted", who, before.body)


def tell(service: Service, kind: str, name: str, done: str, who: Who, body: dict[str, Any]) -> None:
    """Write the change into the journal, with what was there or is there now."""
    service.store.journal.tell("change", f"{kind} {name} {done}", who=who.label, via=who.via, what={"document": body})
