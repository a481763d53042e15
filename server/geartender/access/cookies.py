"""The cookie by which a phone is known again. Pure.

`HttpOnly`: no script can read it. `SameSite=Strict`: no page of another site can send it. Over TLS `Secure`, and a name that begins
with `__Host-`, which a browser takes from this very host only, with the path `/` (RFC 6265bis section 4.1.3). Cookies are not told
apart by port, so the name holds ours: two services on one board must not throw each other's phones out.
"""

from __future__ import annotations

from dataclasses import dataclass

from geartender.access.tokens import TOKEN_MAX_CHARS

MAX_AGE_S = 400 * 86_400
"""s; browsers keep none for longer. The service ends a session earlier when it is not used."""


@dataclass(frozen=True, slots=True)
class Cookie:
    """The cookie of one service."""

    port: int

    def name(self, secure: bool) -> str:
        """What it is called."""
        plain = f"geartender-{self.port}"
        return f"__Host-{plain}" if secure else plain

    def given(self, secret: str, secure: bool, root_path: str) -> str:
        """The `Set-Cookie` that gives it out."""
        return self._field(secret, MAX_AGE_S, secure, root_path)

    def taken_back(self, secure: bool, root_path: str) -> str:
        """The `Set-Cookie` that takes it back."""
        return self._field("", 0, secure, root_path)

    def read(self, field: str, secure: bool) -> str | None:
        """The secret in a `Cookie` field."""
        for pair in field.split(";"):
            name, _, value = pair.strip().partition("=")
            if name == self.name(secure) and 0 < len(value) <= TOKEN_MAX_CHARS:
                return value
        return None

    def _field(self, value: str, max_age_s: int, secure: bool, root_path: str) -> str:
        path = "/" if secure else root_path or "/"
        end = "; Secure" if secure else ""
        return f"{self.name(secure)}={value}; Max-Age={max_age_s}; Path={path}; HttpOnly; SameSite=Strict{end}"
