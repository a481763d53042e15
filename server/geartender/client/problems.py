"""From a problem that the service answers with to the error that it is."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from geartender.errors import Refused


def _all_kinds(kind: type[Refused]) -> Iterator[type[Refused]]:
    yield kind
    for narrower in kind.__subclasses__():
        yield from _all_kinds(narrower)


def refusal_from(body: Mapping[str, Any]) -> Refused:
    """The error of a problem's slug, such as Disarmed; a plain Refused with that slug when there is no class for it.

    Members that the problem has beside the usual ones (RFC 9457 section 3.2) stand in `extra`, `errors` among them.
    """
    slug = str(body.get("type", "")).rpartition("/")[2] or "refused"
    kinds = {kind.slug: kind for kind in _all_kinds(Refused)}
    extra = {
        name: value for name, value in body.items() if name not in {"type", "title", "status", "detail", "instance"}
    }
    detail = str(body.get("detail") or body.get("title") or "the service gives no reason")
    error = kinds.get(slug, Refused)(detail, **extra)
    error.slug = slug
    return error


def lines_of(error: Refused) -> list[str]:
    """The refusal in plain words, with one line for each mistake it lists."""
    mistakes = error.extra.get("errors")
    listed: list[Mapping[str, Any]] = mistakes if isinstance(mistakes, list) else []
    return [error.detail, *(str(mistake.get("detail", mistake)) for mistake in listed)]
