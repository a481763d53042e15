"""Runs the application: one process, one event loop, around uvicorn's server."""

from __future__ import annotations

import asyncio
import contextlib
import gc
import os
import signal
import socket
from collections.abc import Callable, Collection, Iterator, Mapping

import uvicorn
from fastapi import FastAPI

from geartender.api.patience import PatientProtocol
from geartender.api.service import Service
from geartender.api.watchdog import Watchdog
from geartender.errors import GeartenderError
from geartender.priority import go_first
from geartender.world.supervisor import READY, STOPPING

SOCKET_MESSAGE_MAX_BYTES = 65_536
"""Bytes of one message on the live socket; the library would allow 16 MiB."""

SOCKET_PING_S = 5.0
"""s between pings, and for their answer: a phone that has vanished frees its socket within twice that."""

INHERITED = 3
"""The first descriptor that a service manager hands over (sd_listen_fds(3))."""

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


def inherited_socket(environment: Mapping[str, str]) -> socket.socket | None:
    """The listening socket that the service manager opened for this process (sd_listen_fds(3)), if it did. Raises ListenError."""
    if environment.get("LISTEN_PID") != str(os.getpid()):
        return None
    if environment.get("LISTEN_FDS") != "1":
        raise ListenError("the service manager hands over more than one socket; the unit must have exactly one")
    return socket.socket(fileno=INHERITED)


def run_app(app: FastAPI, bound: socket.socket, on_ready: Callable[[], None], proxies: Collection[str] = ()) -> bool:
    """Serve until a signal or a crash; whether it ended as it should. `on_ready` is called once requests are answered.

    What `proxies`, by their addresses, say about who asks and by which scheme is believed; nobody else is.

    Raises StoreInUse and StoreTooNew.
    """
    go_first()
    config = uvicorn.Config(
        app,
        loop="asyncio",
        http=PatientProtocol,
        ws="websockets-sansio",
        ws_max_size=SOCKET_MESSAGE_MAX_BYTES,
        ws_ping_interval=SOCKET_PING_S,
        ws_ping_timeout=SOCKET_PING_S,
        ws_per_message_deflate=False,
        timeout_graceful_shutdown=GRACE_S,
        access_log=False,
        proxy_headers=bool(proxies),
        forwarded_allow_ips=list(proxies),
        server_header=False,
        log_config=None,
        lifespan="on",
    )
    supervisor = app.state.service.world.supervisor

    def ready() -> None:
        supervisor.tell(READY)
        on_ready()

    return asyncio.run(_serve(_Server(config, ready), app.state.service, bound))


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
    watching = [
        asyncio.create_task(_end_on_crash(server, service), name="crashes"),
        asyncio.create_task(Watchdog(service, service.world.supervisor).run(), name="watchdog"),
        asyncio.create_task(service.metrics.measure_lag(service.world.monotonic), name="lag of the loop"),
    ]
    try:
        await server.serve(sockets=[bound])
    finally:
        service.world.supervisor.tell(STOPPING)
        for task in watching:
            task.cancel()
        await service.store.close()
    return server.started and not service.crashed.is_set()


async def _end_on_crash(server: uvicorn.Server, service: Service) -> None:
    await service.crashed.wait()
    server.should_exit = True
