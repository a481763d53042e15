"""How well a machine is controlled: figures taken from the mechanics' truth, tick by tick."""

from __future__ import annotations

import math
from dataclasses import dataclass

from geartender.firmware import tick
from geartender.simulator.device import SimulatedServo
from tests.firmware.kit import FINE, TICK_S, Bench
from tests.firmware.plants import Machine

SMOOTH_S = 0.02
"""s: the true torque is looked at through a filter as slow as the estimate's own, since the train rings."""
KNOWN_SHARE = 0.1
"""Share of the top speed from which on the load can be known: at rest friction hides it."""


class Record(Bench):
    """A bench that writes down every tick."""

    def __init__(self, machine: Machine, seed: int = 0, **more: object) -> None:
        self.rows: list[Row] = []
        self.smooth = 0.0
        self.machine = machine
        super().__init__(machine.plant, machine.sheet, seed, **more)  # type: ignore[arg-type]

    def step(self) -> None:
        """One tick, written down."""
        super().step()
        state, truth = self.state, self.sim.truth()
        self.smooth += (truth.output_nm - self.smooth) * TICK_S / SMOOTH_S
        away = (state[tick.R_INT] - state[tick.COUNT] + tick.HALF & tick.MASK) - tick.HALF
        self.rows.append(
            Row(
                truth.motor_counts,
                truth.output_deg,
                truth.output_deg_s,
                away + state[tick.R_FRAC] / (1 << 24) - 0.5,
                state[tick.DUTY_OUT],
                self.scale.torque_nm(state[tick.LOAD]),
                truth.output_nm,
                self.smooth,
                state[tick.MODE],
                state[tick.D2_HIGH],
            )
        )

    def since(self, row: int) -> list[Row]:
        """The rows from this one on."""
        return self.rows[row:]


@dataclass(frozen=True, slots=True)
class Row:
    """A tick: counts, degrees, duty in 1/10000, N·m at the output."""

    counts: int
    output_deg: float
    output_deg_s: float
    behind: float
    """Counts between the reference and the middle of the cell."""
    duty: int
    load_nm: float
    true_nm: float
    smooth_nm: float
    mode: int
    accel: int


@dataclass(frozen=True, slots=True)
class MoveFigures:
    """One move: counts and seconds."""

    end_counts: float
    following_counts: float
    overshoot_counts: float
    late_s: float
    """How much longer than planned, the 40 ms of standing in the target's cell included."""
    torque_off: float
    """Largest error of the estimate while accelerating, as a share of the limit; 0 for a move that is never fast enough to know."""
    how: str


def move(bench: Record, motion: int, to_deg: float) -> MoveFigures:
    """Move and measure."""
    path = bench.path(to_deg)
    start, began = bench.after(0.1), len(bench.rows)
    here = bench.telemetry["count"]
    assert bench.queue(motion, path, start) == ["ok"]
    assert bench.until(lambda: bench.telemetry["ended"] == motion)
    rows = bench.since(began)
    goal = math.floor((path.at(path.duration).position * FINE + bench.telemetry["origin"]) / FINE)
    way = 1 if goal > here else -1
    zero = bench.telemetry["count"] - rows[-1].counts
    moving = [row for row in rows if row.mode == tick.PLAN]
    assert bench.sheet.limits is not None
    known = bench.sheet.limits.speed_deg_s * KNOWN_SHARE
    under_way = [row for row in moving if row.accel and abs(row.output_deg_s) > known]
    return MoveFigures(
        abs(rows[-1].counts + zero - goal),
        max(abs(row.behind) for row in moving),
        max(0, *(way * (row.counts + zero - goal) for row in rows)),
        len(moving) * TICK_S - path.duration,
        max((abs(row.load_nm - row.smooth_nm) for row in under_way), default=0.0) / bench.machine.limit_nm,
        bench.telemetry["how"],
    )


def turn(bench: Record, motion: int, deg_s: float, for_s: float) -> list[Row]:
    """Turn for a time, loaded as it is; the rows from when the speed has been reached."""
    assert bench.ask("turn", motion, bench.after(0.2), round(deg_s * bench.per_deg * FINE), 0) == ["ok"]
    bench.run(0.8)
    began = len(bench.rows)
    bench.run(for_s)
    rows = bench.since(began)
    bench.raw(f"stop 2 {bench.telemetry['number'] + 1}")
    bench.until(lambda: bench.telemetry["state"] != "turning" and bench.telemetry["state"] != "stopping", 3.0)
    return rows


def mean_speed_off(bench: Record, rows: list[Row], deg_s: float) -> float:
    """How far the mean speed over these rows was off, as a share; a count at each end is not known."""
    counts = rows[-1].counts - rows[0].counts
    return abs(counts / bench.per_deg / ((len(rows) - 1) * TICK_S) / deg_s - 1)


def undriven_peak_nm(machine: Machine, seed: int, speed_deg_s: float) -> float:
    """Highest torque that the same mechanics make of the rotor's energy alone: jammed at that speed with drive taken away."""
    sim = SimulatedServo(machine.sheet, machine.plant, seed)
    body = sim.mechanics
    duty = 0.0
    for _ in range(3000):
        duty += (speed_deg_s - body.truth().output_deg_s) * 0.0005
        body.advance(TICK_S, max(-1.0, min(1.0, duty)), True)
        if body.time_s > 0.5 and abs(body.truth().output_deg_s - speed_deg_s) < 0.01 * speed_deg_s:
            break
    sim.command("jam")
    peak = 0.0
    for _ in range(1000):
        body.advance(TICK_S / 8, 0.0, False)
        peak = max(peak, abs(body.truth().output_nm))
    return peak
