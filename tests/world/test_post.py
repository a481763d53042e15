"""The one way out: over TLS only to whom the machine trusts, and to nobody that the answer names."""

import asyncio
import ssl
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path

import pytest

from geartender.world.post import post
from tests.browser.proxied import make_certificates


class _Answers(BaseHTTPRequestHandler):
    asked: list[str]

    def do_POST(self) -> None:
        self.asked.append(self.path)
        self.send_response(307 if self.path == "/elsewhere" else 204)
        self.send_header("Location", "/followed")
        self.end_headers()

    def log_message(self, *_: object) -> None:
        """Nothing."""


@contextmanager
def listening(context: ssl.SSLContext | None = None) -> Iterator[tuple[str, list[str]]]:
    asked: list[str] = []
    with HTTPServer(("127.0.0.1", 0), type("Answers", (_Answers,), {"asked": asked})) as server:
        if context is not None:
            server.socket = context.wrap_socket(server.socket, server_side=True)
        thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.01})
        thread.start()
        try:
            yield f"{'http' if context is None else 'https'}://127.0.0.1:{server.server_port}", asked
        finally:
            server.shutdown()
            thread.join()


def test_it_gives_the_status_of_the_answer() -> None:
    with listening() as (address, asked):
        assert asyncio.run(post(f"{address}/told", b"{}", {})) == 204
    assert asked == ["/told"]


def test_a_redirect_is_an_answer_and_not_followed() -> None:
    with listening() as (address, asked):
        assert asyncio.run(post(f"{address}/elsewhere", b"{}", {})) == 307
    assert asked == ["/elsewhere"]


def test_a_certificate_that_nobody_trusts_is_not_believed(tmp_path: Path) -> None:
    make_certificates(tmp_path)
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(tmp_path / "leaf.pem", tmp_path / "leaf.key")
    with listening(context) as (address, asked), pytest.raises(OSError, match="certificate verify failed"):
        asyncio.run(post(f"{address}/told", b"{}", {}))
    assert asked == []
