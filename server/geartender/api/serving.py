"""Runs the application: one process, one event loop, around uvicorn's server."""

from __future__ import annotations

import asyncio
import contextlib
import gc
import signal
import socket
from collections.abc import Callable, Iterator

import uvicorn
from fastapi import FastAPI

from geartender.api.service import Service
from geartender.errors import GeartenderError
from geartender.priority import go_first

SOCKET_MESSAGE_MAX_BYTES = 65_536
"""Bytes of one message on the live socket; the library would allow 16 MiB."""

SOCKET_PING_S = 5.0
"""s between pings, and for their answer: a phone that has vanished frees its socket within twice that."""

GRACE_S = 2
"""s that open requests and sockets get at the end; an idle live socket would never end by itself."""


class ListenError(GeartenderError):
    """The address to listen on cannot be had."""


def listening_socket(host: str, port: int) -> socket.socket:
    """A socket bound to the address, so that the true port is known before the application is made. Raises ListenError."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    bound = socket.socket(family, socket.SOCK_STREAM)
    try:
        bound.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        bound.bind((host.strip("[]"), port))
    except OSError as error:
        bound.close()
        raise ListenError(
            f"cannot listen on {host} port {port}: {error.strerror}; is a service running there already?"
        ) from error
    return bound


def run_app(app: FastAPI, bound: socket.socket, on_ready: Callable[[], None]) -> bool:
    """Serve until a signal or a crash; whether it ended as it should. `on_ready` is called once requests are answered.

    Raises StoreInUse and StoreTooNew.
    """
    go_first()
    config = uvicorn.Config(
        app,
        loop="asyncio",
        ws="websockets-sansio",
        ws_max_size=SOCKET_MESSAGE_MAX_BYTES,
        ws_ping_interval=SOCKET_PING_S,
        ws_ping_timeout=SOCKET_PING_S,
        ws_per_message_deflate=False,
        timeout_graceful_shutdown=GRACE_S,
        access_log=False,
        proxy_headers=False,
        server_header=False,
        log_config=None,
        lifespan="on",
    )
    return asyncio.run(_serve(_Server(config, on_ready), app.state.service, bound))


def _spare_the_collector() -> None:
    """Let the garbage collector pass over what lives as long as the process: modules, routes, models.

    A full collection over them takes 50 ms on a laptop and several times that on a small board, during which neither a stop nor
    the beat that the firmware waits for would leave.
    """
    gc.collect()
    gc.freeze()


class _Server(uvicorn.Server):
    """Says when it answers, and ends on a signal without dying of it, so that the caller can clean up behind it."""

    def __init__(self, config: uvicorn.Config, on_ready: Callable[[], None]) -> None:
        super().__init__(config)
        self._on_ready = on_ready

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        await super().startup(sockets)
        _spare_the_collector()
        self._on_ready()

    @contextlib.contextmanager
    def capture_signals(self) -> Iterator[None]:
        loop = asyncio.get_running_loop()
        for number in (signal.SIGINT, signal.SIGTERM):
            loop.add_signal_handler(number, self.handle_exit, number, None)
        try:
            yield
        finally:
            for number in (signal.SIGINT, signal.SIGTERM):
                loop.remove_signal_handler(number)


async def _serve(server: _Server, service: Service, bound: socket.socket) -> bool:
    await service.store.open()  # here already, so that a store that is in use is a plain message
    watch = asyncio.create_task(_end_on_crash(server, service))
    try:
        await server.serve(sockets=[bound])
    finally:
        watch.cancel()
        await service.store.close()
    return server.started and not service.crashed.is_set()


async def _end_on_crash(server: uvicorn.Server, service: Service) -> None:
    await service.crashed.wait()
    server.should_exit = True
