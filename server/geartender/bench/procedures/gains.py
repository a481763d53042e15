"""Gains from the identified model: what is in force, and what a position of the knob makes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from geartender.bench.estimators.identification import (
    Response,
    largest_sensitivity,
    position_loop,
    simc_integrating,
)
from geartender.bench.procedures.work import Work
from geartender.build.measured import Tuning
from geartender.servo.settings import DAMPING_MAX, KP_SUPPLY_SHARE, LAG_S, QUICK_TIME_S
from geartender.servo.units import TICK_S

CALM, QUICK = 3.0, 1.0
"""Closed-loop time constants of the ends of the knob, in effective delays; one is the rule's own choice for a quick loop."""

MS_MAX = 1.6
"""Largest sensitivity that is accepted on the model: the true machine is a little other than its model."""

KP_MAX_V = 60.0
"""V for a count: what a tuning can hold."""


@dataclass(frozen=True, slots=True)
class Model:
    """The drive as identified: counts a second for a volt, the time constant, the supply."""

    rate: float
    lag_s: float
    supply_v: float

    @classmethod
    def of(cls, work: Work) -> Model:
        """As measured, else as the sheet says."""
        ke = work.value("ke_v_s") or work.dynamics.motor.kt_nm_per_a
        lag = work.value("time_constant_s") or work.dynamics.time_s
        return cls(work.dynamics.counts_per_rad / ke, lag, work.session.servo.sheet.motor.supply_v)

    def loop(self, gains: Tuning) -> Response:
        """The loop with these gains, opened."""
        return position_loop(self.rate, self.lag_s, LAG_S, gains.kp_v_per_count, gains.ki_v_per_count_s, gains.damping)


def in_force(settings: Mapping[str, int]) -> Tuning:
    """The gains that the firmware's settings hold."""
    kp = settings["kp_num"] / 2 ** settings["kp_shift"] * 256 / 1000
    ki = settings["ki_num"] / 2 ** settings["ki_shift"] * 256 / 1000 / 4096 / TICK_S
    return Tuning(kp_v_per_count=kp, ki_v_per_count_s=ki, damping=settings["damping"] / 256)


def tuned(model: Model, knob: float) -> Tuning:
    """Gains for a knob from 0, calm, to 1, quick; calmer than that where the margins ask for it."""
    damping = min(max(model.lag_s / QUICK_TIME_S - 1, 0.0), DAMPING_MAX)
    times = CALM * (QUICK / CALM) ** knob
    while True:
        # half of the lag that the damping leaves counts as delay (half rule)
        delay = LAG_S + model.lag_s / (1 + damping) / 2
        pi = simc_integrating(model.rate / (1 + damping), delay, times * delay)
        kp = min(pi.kc, KP_SUPPLY_SHARE * model.supply_v, KP_MAX_V)
        gains = Tuning(kp_v_per_count=kp, ki_v_per_count_s=kp / pi.ti_s, damping=damping, knob=knob)
        ms = largest_sensitivity(model.loop(gains))
        if ms <= MS_MAX or times > 20:
            return gains.model_copy(update={"ms": round(ms, 3)})
        times *= 1.1
        damping *= 0.97
