"""Stored documents of one kind, as a script sees them: by name, and changed by their revision."""

from __future__ import annotations

from typing import Any
from urllib.parse import quote

from geartender.client.http import Http
from geartender.errors import Unknown

Document = dict[str, Any]


class RemoteDocuments:
    """The sequences, or the entries of the timetable, of a service."""

    def __init__(self, http: Http, path: str) -> None:
        self._http = http
        self._path = path

    def list(self) -> list[Document]:
        """All of them, by name."""
        items: list[Document] = self._http.get(self._path)["items"]
        return items

    def get(self, name: str) -> tuple[Document, str]:
        """One, and the ETag of its revision. Raises Unknown."""
        return self._http.get_with_tag(self.path(name))

    def put(self, name: str, document: Document, etag: str | None = None) -> str:
        """Make it, or with the ETag of a revision replace that one; gives the new ETag. Raises Stale, Invalid."""
        return self._http.put_document(self.path(name), document, etag)

    def replace(self, name: str, document: Document) -> str:
        """Make it, or replace whatever revision is there now."""
        try:
            _, etag = self.get(name)
        except Unknown:
            return self.put(name, document)
        return self.put(name, document, etag)

    def delete(self, name: str, etag: str | None = None) -> None:
        """Delete it; with an ETag, only that revision. Raises Unknown, Stale."""
        self._http.delete(self.path(name), {"If-Match": etag or "*"})

    def path(self, name: str) -> str:
        """The address of one."""
        return f"{self._path}/{quote(name, safe='')}"
