"""How long a connection may keep the service waiting. A client that opens one and says nothing, or trickles its request, is let go.

The server closes a connection that stays idle between two requests; one whose request never gets whole it would keep for ever,
and each takes a descriptor, of which there are few.
"""

from __future__ import annotations

import asyncio
from typing import Any

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol

HEAD_WITHIN_S = 10.0
"""s from the opening, or from the first byte, until the head of a request is whole; over poor radio that takes one or two."""

BODY_GAP_S = 20.0
"""s between two pieces of a body: an archive over poor radio may take minutes, but it goes on."""


class PatientProtocol(H11Protocol):
    """The server's own protocol, with an end to its patience."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._patience: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        super().connection_made(transport)
        self._wait_for(HEAD_WITHIN_S)

    def data_received(self, data: bytes) -> None:
        super().data_received(data)
        if self.transport.get_protocol() is not self:
            return
        if self.conn.their_state is h11.IDLE:
            if self._patience is None:
                self._wait_for(HEAD_WITHIN_S)
        elif self.conn.their_state is h11.SEND_BODY:
            self._wait_for(BODY_GAP_S)
        else:
            self._wait_no_more()

    def handle_websocket_upgrade(self, event: h11.Request) -> None:
        self._wait_no_more()
        super().handle_websocket_upgrade(event)

    def connection_lost(self, exc: Exception | None) -> None:
        self._wait_no_more()
        super().connection_lost(exc)

    def _wait_for(self, seconds: float) -> None:
        self._wait_no_more()
        self._patience = self.loop.call_later(seconds, self.transport.close)

    def _wait_no_more(self) -> None:
        if self._patience is not None:
            self._patience.cancel()
            self._patience = None
