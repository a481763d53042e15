"""Slow lines: a UART's ten kilobytes a second, and round trips of a quarter of a second."""

from __future__ import annotations

import asyncio
from collections.abc import Callable

import pytest

from geartender.link.port import Opener, Port, PortEvents
from geartender.servo.requests import MoveRequest
from geartender.simulator.device import SimulatedServo
from geartender.simulator.in_memory import SimulatedPort
from geartender.world import World
from geartender.world.virtual import run_virtual
from tests.servo.rig import ANNA, Rig, direct, running

UART_S = 10 / 115_200
"""s for a byte: eight bits, a start and a stop."""


class SlowPort:
    """An opener whose ports take so long for each byte, and so long for the way."""

    def __init__(self, inner: Opener, byte_s: float, way_s: float) -> None:
        self._inner, self._byte_s, self._way_s = inner, byte_s, way_s
        self._free = {"up": 0.0, "down": 0.0}

    async def open(self, events: PortEvents) -> Port:
        wire = _Wire(self, events)
        wire.port = await self._inner.open(wire)
        return wire

    def carry(self, data: bytes, way: str, deliver: Callable[[bytes], None]) -> None:
        loop = asyncio.get_running_loop()
        begin = max(loop.time(), self._free[way])
        self._free[way] = begin + len(data) * self._byte_s
        loop.call_at(self._free[way] + self._way_s, deliver, data)


class _Wire:
    port: Port

    def __init__(self, slow: SlowPort, events: PortEvents) -> None:
        self._slow, self._events, self._open = slow, events, True

    def write(self, data: bytes) -> None:
        self._slow.carry(data, "down", self._down)

    def _down(self, data: bytes) -> None:
        if self._open:
            self.port.write(data)

    def on_bytes(self, data: bytes) -> None:
        self._slow.carry(data, "up", self._up)

    def _up(self, data: bytes) -> None:
        if self._open:
            self._events.on_bytes(data)

    def on_lost(self, reason: str) -> None:
        self._open = False
        self._events.on_lost(reason)

    def close(self) -> None:
        self._open = False
        self.port.close()


@pytest.mark.parametrize(("byte_s", "way_s", "within"), [(UART_S, 0.0, 0.2), (UART_S, 0.02, 0.4), (0.0, 0.12, 1.4)])
def test_moves_start_replace_and_stop_on_a_slow_line(byte_s: float, way_s: float, within: float) -> None:
    sheet = direct()

    async def main(world: World) -> None:
        sim = SimulatedServo(sheet, seed=2)
        rig = Rig(world, sim, sheet, SlowPort(SimulatedPort(sim), byte_s, way_s))
        async with running(rig.servo):
            await rig.homed()
            counts = rig.servo._drive.link.exchange.counts
            resent, asked = counts.resent, world.monotonic()
            first = await rig.servo.move(ANNA, MoveRequest(to_deg=60))
            await rig.until(lambda: abs(rig.sim.truth().output_deg_s) > 1)
            assert world.monotonic() - asked < within + 0.25
            await rig.until(lambda: rig.angle > 15)
            second = await rig.servo.move(ANNA, MoveRequest(to_deg=5))
            await second.ended()
            assert (first.state, second.state) == ("replaced", "done")
            third = await rig.servo.move(ANNA, MoveRequest(to_deg=60))
            await rig.until(lambda: rig.angle > 15)
            rig.servo.stop(ANNA, 2)
            await third.ended()
            assert third.state == "stopped"
            assert rig.servo.snapshot().link.reconnects == 0
            assert counts.resent - resent < 40

    run_virtual(main)
