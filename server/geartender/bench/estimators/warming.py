"""The rise of a winding's temperature by its resistance cold, warm and after a rest, and what that says of its heat path."""

from __future__ import annotations

import math
from dataclasses import dataclass

from geartender.bench.estimators.fit import Value
from geartender.build.heat import COPPER_ZERO_C, winding_by_resistance


@dataclass(frozen=True, slots=True)
class Reading:
    """Voltage at the winding and the current through it, at a stall."""

    volts: float
    amps: Value

    @property
    def ohm(self) -> float:
        """The resistance."""
        return self.volts / self.amps.value


@dataclass(frozen=True, slots=True)
class Warming:
    """What three readings say."""

    rise_k: Value
    time_s: Value | None
    """Time constant by which it cools; None where the rest made no clear difference."""
    k_per_w: Value | None


def rise_k(cold: Reading, warm: Reading, ambient_c: float) -> Value:
    """Rise over a winding that is as cold as the air: the resistance method."""
    rise = winding_by_resistance(cold.ohm, ambient_c, warm.ohm) - ambient_c
    shares = (one.amps.uncertainty / one.amps.value for one in (cold, warm))
    return Value(rise, (COPPER_ZERO_C + ambient_c) * warm.ohm / cold.ohm * math.hypot(*shares))


def warming(
    cold: Reading, warm: Reading, cooled: Reading | None, ambient_c: float, warm_s: float, cool_s: float
) -> Warming:
    """From readings before, after `warm_s` of a held voltage and after a rest of `cool_s`; the last may be missing."""
    rise = rise_k(cold, warm, ambient_c)
    if cooled is None:
        return Warming(rise, None, None)
    left = rise_k(cold, cooled, ambient_c)
    apart = math.hypot(rise.uncertainty, left.uncertainty)
    if left.value <= 2 * left.uncertainty or rise.value - left.value <= 2 * apart:
        return Warming(rise, None, None)
    time = cool_s / math.log(rise.value / left.value)
    shares = math.hypot(rise.uncertainty / rise.value, left.uncertainty / left.value)
    time_s = Value(time, time**2 / cool_s * shares)
    watts = warm.volts * (cold.amps.value + warm.amps.value) / 2
    ended = -math.expm1(-warm_s / time)
    by_time = warm_s / time**2 * math.exp(-warm_s / time) / ended * time_s.uncertainty
    k_per_w = rise.value / (watts * ended)
    return Warming(rise, time_s, Value(k_per_w, k_per_w * math.hypot(rise.uncertainty / rise.value, by_time)))
