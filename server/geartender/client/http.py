"""Requests to the service: the address, the key, who asks, and errors translated."""

from __future__ import annotations

import getpass
import re
import secrets
import socket
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import httpx

from geartender.client.problems import refusal_from
from geartender.errors import GeartenderError, Unauthenticated, Unreachable

TIMEOUT_S = 10.0
"""s; a service on the slowest board answers in a tenth of it."""

LONG_TIMEOUT_S = 600.0
"""s; a large archive is read through on the slowest board before the first word comes back."""

TRIES = 3
"""A radio that swallows three requests in a row is not there."""

_KEY = re.compile(r"[\x21-\x7e]{1,128}")

Json = Any
Headers = Mapping[str, str]


def own_name() -> str:
    """Who runs this, and where: the same for a script and the commands, so that a person keeps the helm between them."""
    return f"{getpass.getuser()}@{socket.gethostname()}"[:64]


class Http:
    """One connection to one service."""

    def __init__(self, url: str, key: str | None, name: str | None, transport: httpx.BaseTransport | None) -> None:
        headers = {"Geartender-Client": name or own_name()}
        if key is not None:
            if not _KEY.fullmatch(key):
                raise Unauthenticated(
                    "That is no key: a key is 1 to 128 characters, with no space in it. It was not sent."
                )
            headers["Authorization"] = f"Bearer {key}"
        self.url = url.rstrip("/")
        self._http = httpx.Client(
            base_url=self.url, headers=headers, timeout=TIMEOUT_S, transport=transport, trust_env=False
        )

    def close(self) -> None:
        """Close the connection."""
        self._http.close()

    def get(self, path: str, headers: Headers | None = None) -> Json:
        """The JSON at a path. Raises Refused, Unreachable."""
        return self._again("GET", path, None, headers).json()

    def get_text(self, path: str, accept: str) -> str:
        """The text at a path, in the form asked for."""
        return self._again("GET", path, None, {"Accept": accept}).text

    def send(self, method: str, path: str, body: Json = None, headers: Headers | None = None) -> Json:
        """Ask once; for what must not be done twice. Raises Refused, Unreachable."""
        return self._once(method, path, body, headers).json()

    def send_until_answered(self, method: str, path: str, body: Json = None, headers: Headers | None = None) -> Json:
        """Ask again when no answer comes; for what may be repeated, or carries an Idempotency-Key."""
        return self._again(method, path, body, headers).json()

    def get_with_tag(self, path: str) -> tuple[Json, str]:
        """The JSON at a path and the ETag of its revision. Raises Refused, Unreachable."""
        answer = self._again("GET", path, None, None)
        return answer.json(), answer.headers.get("ETag", "")

    def put_document(self, path: str, document: Json, etag: str | None) -> str:
        """Make a document, or with an ETag replace that revision; gives the new ETag. Raises Refused, Unreachable."""
        condition = {"If-None-Match": "*"} if etag is None else {"If-Match": etag}
        etag = self._once("PUT", path, document, condition).headers.get("ETag", "")
        return str(etag)

    def delete(self, path: str, headers: Headers) -> None:
        """Delete what is at a path. Raises Refused, Unreachable."""
        self._once("DELETE", path, None, headers)

    def start(self, path: str, body: Json = None) -> Json:
        """Start something exactly once, however often the request has to be repeated."""
        return self.send_until_answered("POST", path, body, {"Idempotency-Key": secrets.token_hex(8)})

    def download(self, path: str, to: Path) -> int:
        """Write what is at a path into a file; gives its size. Raises Refused, Unreachable, OSError."""
        try:
            with self._http.stream("GET", path, timeout=LONG_TIMEOUT_S) as answer, to.open("wb") as file:
                if not answer.is_success:
                    answer.read()
                    raise self._refusal(answer)
                for part in answer.iter_bytes():
                    file.write(part)
                return file.tell()
        except (httpx.TransportError, httpx.InvalidURL) as error:
            raise Unreachable(f"no answer from {self.url}: {error}") from error

    def upload(self, path: str, file: Path, media_type: str) -> Json:
        """Put a file to a path. Raises Refused, Unreachable, OSError."""
        headers = {"Content-Type": media_type, "Content-Length": str(file.stat().st_size)}
        with file.open("rb") as content:
            try:
                answer = self._http.put(path, content=content, headers=headers, timeout=LONG_TIMEOUT_S)
            except (httpx.TransportError, httpx.InvalidURL) as error:
                raise Unreachable(f"no answer from {self.url}: {error}") from error
        if not answer.is_success:
            raise self._refusal(answer)
        return answer.json()

    def _again(self, method: str, path: str, body: Json, headers: Headers | None) -> httpx.Response:
        for _ in range(TRIES - 1):
            try:
                return self._once(method, path, body, headers)
            except Unreachable as error:
                if isinstance(error.__cause__, httpx.ConnectError):
                    raise  # nobody listens there: asking again at once changes nothing
        return self._once(method, path, body, headers)

    def _once(self, method: str, path: str, body: Json, headers: Headers | None) -> httpx.Response:
        try:
            answer = self._http.request(method, path, json=body, headers=headers)
        except (httpx.TransportError, httpx.InvalidURL) as error:
            raise Unreachable(f"no answer from {self.url}: {error}") from error
        if answer.is_success:
            return answer
        raise self._refusal(answer)

    def _refusal(self, answer: httpx.Response) -> GeartenderError:
        try:
            problem = answer.json()
        except ValueError:
            problem = None
        if not isinstance(problem, dict):
            return Unreachable(f"{self.url} answers {answer.status_code}, but not as a Geartender service")
        return refusal_from(problem)
