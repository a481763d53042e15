"""The serial port, and the only importer of `serial_asyncio`: bytes out, bytes in, one signal that the link is lost.

The rest of the service sees `Port`, `Opener` and `PortEvents` alone; a simulated servo brings its own opener.
"""

from __future__ import annotations

import asyncio
import contextlib
import logging
import os
import termios
from typing import Protocol

import serial
import serial_asyncio

from geartender.errors import PortError

log = logging.getLogger(__name__)

BAUD = 115_200
"""Bits per second on a UART; a USB port ignores it."""

WRITE_HIGH_WATER_BYTES = 4096
"""Bytes: more than this in the operating system's hands would leave too late to mean anything."""


class PortEvents(Protocol):
    """What a port tells its owner. Both are called on the event loop."""

    def on_bytes(self, data: bytes) -> None:
        """Bytes arrived."""

    def on_lost(self, reason: str) -> None:
        """The port is gone; nothing more will come. Called at most once."""


class Port(Protocol):
    """An open port."""

    def write(self, data: bytes) -> None:
        """Hand bytes to the operating system, at once and without waiting. After the port is lost: nothing."""

    def close(self) -> None:
        """Drop the port. May be called twice; `on_lost` is not called for it."""


class Opener(Protocol):
    """Something that can open a port, as often as needed."""

    async def open(self, events: PortEvents) -> Port:
        """Open the port. Raises PortError if that cannot be done now."""
        ...


class SerialOpener:
    """Opens a serial port by its path, for this process alone."""

    def __init__(self, path: str) -> None:
        self.path = path

    async def open(self, events: PortEvents) -> Port:
        """Open the port in a thread, since a stuck driver may take its time. Raises PortError."""
        try:
            device = await asyncio.to_thread(serial.serial_for_url, self.path, baudrate=BAUD, exclusive=True, timeout=0)
        except (OSError, ValueError, termios.error) as error:
            raise PortError(f"cannot open {self.path}: {_plain(error)}") from error
        try:
            loop = asyncio.get_running_loop()
            shell = _Shell(events, device)
            transport, _ = await serial_asyncio.connection_for_serial(loop, lambda: shell, device)
        except (OSError, ValueError, termios.error) as error:
            with contextlib.suppress(OSError, termios.error):
                device.close()
            raise PortError(f"cannot use {self.path}: {_plain(error)}") from error
        shell.attach(transport)
        return shell


class _Shell(asyncio.Protocol):
    """The asyncio side of an open port; closes exactly once, whoever is first."""

    def __init__(self, events: PortEvents, device: serial.Serial) -> None:
        self._events = events
        self._device = device
        self._transport: asyncio.WriteTransport | None = None
        self._closed = False

    def attach(self, transport: asyncio.WriteTransport) -> None:
        """Take the transport at once: the library tells of it only in the loop's next turn, and a write may come first."""
        self._transport = transport
        transport.set_write_buffer_limits(high=WRITE_HIGH_WATER_BYTES)

    def data_received(self, data: bytes) -> None:
        if not self._closed:
            self._events.on_bytes(data)

    def connection_lost(self, exc: Exception | None) -> None:
        if not self._closed:
            self._closed = True
            self._events.on_lost(_plain(exc) if exc else "the port was closed by the system")

    def write(self, data: bytes) -> None:
        """Write at once what the system takes, and leave the rest to the transport: a stop must not wait for the loop."""
        if self._closed or self._transport is None:
            return
        if not self._transport.get_write_buffer_size():
            try:
                # Not the device's own write: with a full buffer that one spins for ever.
                data = data[os.write(self._device.fileno(), data) :]
            except OSError as error:
                # A full buffer, or a lost port; in both cases the transport finds out and does what is needed.
                log.debug("nothing written: %s", _plain(error))
        if data:
            self._transport.write(data)

    def close(self) -> None:
        """Abort; what is still unsent is thrown away, since flushing a stuck device can hang the loop."""
        if self._closed:
            return
        self._closed = True
        with contextlib.suppress(OSError, termios.error, serial.SerialException):
            self._device.reset_output_buffer()
        if self._transport is not None:
            self._transport.abort()


def _plain(error: BaseException) -> str:
    """The last, human part of an operating system error."""
    return str(getattr(error, "strerror", None) or error) or type(error).__name__
