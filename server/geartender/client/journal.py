"""The journal from a script: entries newest first, and following it as it is written."""

from __future__ import annotations

import time
from collections.abc import Iterator
from typing import Any
from urllib.parse import urlencode

from geartender.client.http import Http

Document = dict[str, Any]

PATH = "/api/v1/journal"
PAGE = 200
FOLLOW_EVERY_S = 0.5
"""s between two looks while following; a person reads no faster."""


class Journal:
    """The journal of one service. Filters as in HTTP: since, until (ISO 8601), kind (one or several), servo, run, text."""

    def __init__(self, http: Http) -> None:
        self._http = http

    def entries(self, **filters: Any) -> Iterator[Document]:
        """Entries, newest first, fetched as they are asked for."""
        cursor: str | None = None
        while True:
            page = self._page(filters, limit=PAGE, cursor=cursor)
            yield from page["items"]
            cursor = page["next"]
            if cursor is None:
                return

    def entry(self, entry: int) -> Document:
        """One entry."""
        found: Document = self._http.get(f"{PATH}/{entry}")
        return found

    def trace(self, entry: int) -> list[Document]:
        """The seconds before a fault."""
        rows: list[Document] = self._http.get(f"{PATH}/{entry}/trace")["items"]
        return rows

    def newest_id(self) -> int:
        """Id of the newest entry of all; 0 when there is none."""
        newest = self._page({}, limit=1)["items"]
        return int(newest[0]["id"]) if newest else 0

    def follow(self, after_id: int, **filters: Any) -> Iterator[Document]:
        """What is written after an entry, for ever: each entry when it begins, and again when it has its result."""
        after = str(after_id)
        under_way: list[int] = []
        while True:
            for entry in [self.entry(one) for one in under_way]:
                if entry["result"] is not None:
                    under_way.remove(entry["id"])
                    yield entry
            page = self._page(filters, after=after, limit=PAGE)
            after = page["next"] or after
            for entry in page["items"]:
                if entry["result"] is None:
                    under_way.append(entry["id"])
                yield entry
            if not page["items"]:
                time.sleep(FOLLOW_EVERY_S)

    def _page(self, filters: Document, **more: Any) -> Document:
        asked = {name: value for name, value in {**filters, **more}.items() if value is not None}
        page: Document = self._http.get(f"{PATH}?{urlencode(asked, doseq=True)}")
        return page
