"""A simulated servo on an event loop, without thread or file: on a virtual loop it runs on virtual time.

Several openings in a row find the same servo, as several starts of a service find the same board.
"""

from __future__ import annotations

import asyncio

from geartender.errors import PortError
from geartender.link.port import PortEvents
from geartender.simulator.device import SimulatedServo


class SimulatedPort:
    """Opens the line to a simulated servo, which lives from the first opening on, in step with the loop's time."""

    def __init__(self, servo: SimulatedServo) -> None:
        self.servo = servo
        self._began: float | None = None
        self._open: _Line | None = None

    async def open(self, events: PortEvents) -> _Line:
        """Open the line. Raises PortError while the cable is out or somebody else has it."""
        loop = asyncio.get_running_loop()
        if self._began is None:
            self._began = loop.time() - self.servo.next_us / 1e6
            self._next_tick(loop)
        if self.servo.unplugged:
            raise PortError("simulated servo: the cable is out")
        if self._open is not None:
            raise PortError("simulated servo: in use")
        self._open = _Line(self, events)
        return self._open

    def _next_tick(self, loop: asyncio.AbstractEventLoop) -> None:
        began = self._began or 0.0
        loop.call_at(began + self.servo.next_us / 1e6, self._tick, loop)

    def _tick(self, loop: asyncio.AbstractEventLoop) -> None:
        self.servo.advance(self.servo.next_us)
        line = self._open
        if line is not None:
            if self.servo.unplugged:
                self._open = None
                line.events.on_lost("simulated servo: the cable was pulled")
            elif sent := self.servo.take_output():
                line.events.on_bytes(sent)
        else:
            self.servo.take_output()
        self._next_tick(loop)

    def released(self, line: _Line) -> None:
        """The line was closed from this side."""
        if self._open is line:
            self._open = None


class _Line:
    """One opening of the line."""

    def __init__(self, port: SimulatedPort, events: PortEvents) -> None:
        self._port = port
        self.events = events

    def write(self, data: bytes) -> None:
        """Hand bytes to the servo; it sees them at its next tick."""
        self._port.servo.receive(data)

    def close(self) -> None:
        """Let go of the line."""
        self._port.released(self)
