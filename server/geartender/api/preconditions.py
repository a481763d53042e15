"""Entity tags and the conditions that name them (RFC 9110 sections 8.8.3 and 13). Pure."""

from __future__ import annotations

import hashlib
import re

from geartender.errors import RevisionRequired, Stale

_TAG = re.compile(r'(W/)?("[\x21\x23-\x7e\x80-\xff]*")')
_LIST = re.compile(rf"\s*(?:{_TAG.pattern}\s*(?:,\s*|$))+\s*")


def entity_tag(document: str) -> str:
    """The strong tag of a document: a hash of its canonical text, so that it stays the same over a restart."""
    return f'"{hashlib.sha256(document.encode()).hexdigest()[:20]}"'


def strongly_matches(field: str, tag: str) -> bool:
    """Whether an If-Match field holds for a document that exists with this strong tag (section 13.1.1)."""
    return field.strip() == "*" or any(not weak and opaque == tag for weak, opaque in _tags(field))


def weakly_matches(field: str, tag: str) -> bool:
    """Whether an If-None-Match field names this tag, by weak comparison (section 13.1.2)."""
    return field.strip() == "*" or any(opaque == tag for _, opaque in _tags(field))


def require_revision(if_match: str | None, if_none_match: str | None, tag: str) -> None:
    """Let a change of an existing document pass only with the tag of what it changes. Raises Stale, RevisionRequired."""
    if if_match is None and if_none_match is None:
        raise RevisionRequired(f"Send If-Match with the ETag of what you read; it is now {tag}.")
    if if_match is not None and not strongly_matches(if_match, tag):
        raise Stale(
            "It was changed since you read it. Read it again, and put your change into what you find.", etag=tag
        )
    if if_none_match is not None and weakly_matches(if_none_match, tag):
        raise Stale("It exists already. To change it, read it and send If-Match with its ETag.", etag=tag)


def _tags(field: str) -> list[tuple[str, str]]:
    """The tags of a list, each as (weak sign, opaque part); of a field that is no list of tags, none."""
    return _TAG.findall(field) if _LIST.fullmatch(field) else []
