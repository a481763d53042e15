"""The firmware's own tick as machine code of this machine, and a motor that turns with it: for runs of days.

An interpreter would need hours for what takes minutes here. The state is the core's own array, so what its main loop
does goes on as usual between two calls.
"""

from __future__ import annotations

import importlib.util
import math
from pathlib import Path
from types import ModuleType

import numba
import numpy as np

from geartender import firmware
from geartender.firmware import compat, tick
from geartender.firmware.age import ROUND
from geartender.firmware.core import Core
from geartender.firmware.registers import AGE_TOP
from geartender.simulator.board import DUTY_FULL
from geartender.simulator.mechanics import STEP_S, TURN, Mechanics
from tests.firmware.kit import TICK_S

COUNT_IN, HOME_IN, SUPPLY_IN, AGE_IN = tick.COUNT_IN, tick.HOME_IN, tick.SUPPLY_IN, tick.AGE_IN
DUTY_OUT, BRIDGE_OUT, MASK = tick.DUTY_OUT, tick.BRIDGE_OUT, tick.MASK
STEPS = round(TICK_S / STEP_S)


def compiled() -> ModuleType:
    """The tick's file, loaded once more, each function of it compiled when it is first called."""
    spec = importlib.util.spec_from_file_location(
        "geartender.firmware.compiled_tick", Path(firmware.__file__).with_name("tick.py")
    )
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    before = compat.micropython, compat.ptr32
    compat.micropython, compat.ptr32 = _Compiler, numba.njit(compat.ptr32)
    try:
        spec.loader.exec_module(module)
    finally:
        compat.micropython, compat.ptr32 = before
    return module


class _Compiler:
    """Stands in for the board's module."""

    viper = staticmethod(numba.njit)


class Motor:
    """A rigid motor without a load but friction, with an even disc on it; `run` drives it by the firmware's tick.

    Its place is whole turns and a part of one, so that it is as well known after a hundred million turns as in the first.
    """

    def __init__(self, core: Core, body: Mechanics) -> None:
        """Take over from the mechanics where they stand; the output's turn must be a whole number of the motor's."""
        plant, truth = body.plant, body.truth()
        ratio, loss = plant.gear.ratio, plant.gear.efficiency
        assert ratio == round(ratio)
        self._tick = compiled().tick
        self._state = np.frombuffer(core.state, np.int32)
        self._queue = np.frombuffer(core.queue, np.int32)
        self._edges = 4 * plant.disc.marks
        turns, part = divmod(truth.output_deg / 360 * ratio, 1.0)
        self._place = np.array([part, truth.output_deg_s / 360 * ratio * TURN])
        self._turn = np.array([int(turns), 0], np.int64)  # whole turns; what the firmware's count has beyond the disc's
        self._turn[1] = core.total - self.counts
        low, high = body._home
        self._numbers = np.array(
            [
                plant.supply.volts,
                plant.motor.ke_v_s,
                plant.motor.resistance_ohm,
                plant.motor.viscous_nm_s,
                plant.motor.rotor_inertia_kg_m2 + body._load_inertia / (ratio * ratio * loss),
                plant.motor.coulomb_nm + plant.load.friction_nm / (ratio * loss),
                ratio,
                low / 360,
                (high - low) / 360,
            ]
        )

    @property
    def counts(self) -> int:
        """True counts, not wrapped."""
        return int(self._turn[0]) * self._edges + math.floor(self._place[0] * self._edges)

    def run(self, ticks: int) -> None:
        """So many ticks."""
        _run(self._tick, self._state, self._queue, self._turn, self._place, self._numbers, self._edges, ticks)


@numba.njit
def _run(tick, state, queue, turn, place, numbers, edges, ticks):
    volts, ke, ohm, viscous, inertia, friction, ratio, mark_from, mark_width = numbers
    dt = TICK_S / STEPS
    for _ in range(ticks):
        duty = state[DUTY_OUT] / DUTY_FULL
        driven = state[BRIDGE_OUT] != 0
        part, speed = place
        before = turn[0] * edges + math.floor(part * edges)
        for _ in range(STEPS):
            current = (duty * volts - ke * speed) / ohm if driven else 0.0
            speed += (ke * current - viscous * speed) / inertia * dt
            most = friction / inertia * dt
            speed = speed - most if speed > most else speed + most if speed < -most else 0.0
            part += speed / TURN * dt
        whole = math.floor(part)
        turn[0] += whole
        part -= whole
        place[0], place[1] = part, speed
        cell = turn[0] * edges + math.floor(part * edges)
        if cell != before:
            edge = cell if cell > before else cell + 1
            way = (part + (turn[0] - edge / edges)) * TURN
            age = way / speed / TICK_S if speed else 1.0
            state[AGE_IN] = min(round(max(age, 0.0) * AGE_TOP / ROUND) * ROUND, AGE_TOP)
        else:
            state[AGE_IN] = min(state[AGE_IN] + AGE_TOP, AGE_TOP)
        state[COUNT_IN] = (cell + turn[1]) & MASK
        output = (turn[0] % int(ratio) + part) / ratio
        state[HOME_IN] = (output - mark_from) % 1.0 < mark_width
        state[SUPPLY_IN] = round(volts * 1000)
        tick(state, queue)
