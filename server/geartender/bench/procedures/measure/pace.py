"""How far a run at a held voltage will go, so that it stays within the travel."""

from __future__ import annotations

import numpy as np

from geartender.bench.estimators.record import Record
from geartender.bench.procedures.places import endless, middle_cosine
from geartender.bench.procedures.work import Work

RUN_S = 1.2
"""s of a run at most, and"""
RUN_LEAST_S = 0.3
"""s at least: several time constants of any such motor."""

LEAST_DRAG = 0.3
"""Share of the motor's own friction that is left at least where the load pulls it along."""

LEARNT = 1.15
"""Times what a run did that the next is taken to do."""

SPEED_SAMPLES = 20
"""Samples over which the speed at the end of a run's drive is taken."""

DRAG_UNSURE = 0.65
"""Share of the drag by the sheet that a machine coasts out against at least, before it has been seen."""

UNSURE = 1.3
"""How much quicker than the sheet says a machine is taken to be before it has been seen."""


class Pace:
    """How far a run at a voltage goes, by the sheet and what was seen; the weight of the load helps one way, not the other."""

    def __init__(self, work: Work) -> None:
        d = work.dynamics
        self.quick = {1: UNSURE, -1: UNSURE}
        """Times the speed by the sheet."""
        self.rolls = {1: 1 / DRAG_UNSURE, -1: 1 / DRAG_UNSURE}
        """Times the way by the sheet that it coasts from a speed."""
        self.drag_nm = {way: drag_nm(work, way) for way in (1, -1)}
        self.ke, self.ohm, self.inertia = d.motor.kt_nm_per_a, d.motor.resistance_ohm, d.inertia_kg_m2
        self.per = work.scale.deg_per_count * d.counts_per_rad

    def drag_v(self, way: int) -> float:
        """The voltage that only just keeps it turning."""
        return self.drag_nm[way] * self.ohm / self.ke

    def speed_deg_s(self, way: int, volts: float) -> float:
        """Speed at a voltage by the sheet."""
        return max(volts - self.drag_v(way), 0.0) / self.ke * self.per

    def coast_deg(self, way: int, speed_deg_s: float) -> float:
        """Degrees to rest from a speed by the sheet."""
        return (speed_deg_s / self.per) ** 2 / 2 * self.inertia / self.drag_nm[way] * self.per

    def fitting(self, way: int, volts: float, room_deg: float) -> tuple[float, float]:
        """The voltage, or the highest below it that leaves a run long enough, and its time."""
        while volts > 1.5 * self.drag_v(way):
            speed = self.quick[way] * self.speed_deg_s(way, volts)
            for_s = min((room_deg - self.rolls[way] * self.coast_deg(way, speed)) / speed, RUN_S)
            if for_s >= RUN_LEAST_S:
                return volts, for_s
            volts *= 0.93
        return volts, 0.0

    def learn(self, way: int, volts: float, record: Record, deg_per_count: float) -> None:
        """A run has been; what it did is a little of what the next may do."""
        off = int(np.flatnonzero(record.duty != 0.0)[-1])
        began = max(off - SPEED_SAMPLES, 0)
        speed = abs(int(record.count[off] - record.count[began])) * deg_per_count / ((off - began) * record.step_s)
        coasted = abs(int(record.count[-1] - record.count[off])) * deg_per_count
        self.quick[way] = max(0.7, min(LEARNT * speed / self.speed_deg_s(way, volts), 2.0))
        if speed > 0:
            self.rolls[way] = max(0.3, min(LEARNT * coasted / self.coast_deg(way, speed), 4.0))


def drag_nm(work: Work, way: int) -> float:
    """What opposes the motor's shaft while it turns that way in the middle of the travel, by the sheet."""
    load, d = work.session.servo.sheet.load, work.dynamics
    gain = work.scale.nm_per_a / d.motor.kt_nm_per_a
    efficiency = gain / work.dynamics_ratio
    weight = 0.0 if endless(work) else load.gravity_nm * middle_cosine(work)
    mesh = load.friction_nm + way * weight
    own = d.motor.no_load_current_a * d.motor.kt_nm_per_a
    return max(own + (mesh / gain if mesh > 0 else mesh * efficiency**2 / gain), LEAST_DRAG * own)
