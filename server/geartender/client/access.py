"""Who is let in, over HTTP: phones and keys, and inviting another phone. For a key with the role `manage`."""

from __future__ import annotations

from typing import Any
from urllib.parse import quote

from geartender.client.http import Http

Document = dict[str, Any]


class RemoteAccess:
    """The phones and keys of a service."""

    def __init__(self, http: Http) -> None:
        self._http = http

    def me(self) -> Document:
        """Who this client is to the service, and what it may do."""
        found: Document = self._http.get("/api/v1/me")
        return found

    def listed(self) -> list[Document]:
        """The phones and keys that were let in."""
        items: list[Document] = self._http.get("/api/v1/credentials")["items"]
        return items

    def add_key(
        self, name: str, role: str = "drive", servo: str | None = None, expires_at: str | None = None
    ) -> Document:
        """Let a script in; its `key` is shown this once. `expires_at` is a time with its offset (RFC 3339)."""
        asked = {"name": name, "role": role, "servo": servo, "expires_at": expires_at}
        found: Document = self._http.send("POST", "/api/v1/keys", asked)
        return found

    def revoke(self, one_id: str, *, anyway: bool = False) -> None:
        """Let a phone or key in no longer; `anyway` also when it is the last that may let others in."""
        end = "?anyway=true" if anyway else ""
        self._http.delete(f"/api/v1/credentials/{quote(one_id, safe='')}{end}", {})

    def invite(self, role: str = "drive") -> Document:
        """Invite a phone: `code`, `address`, and the QR code of it."""
        found: Document = self._http.send("POST", "/api/v1/pairing/offers", {"role": role})
        return found
