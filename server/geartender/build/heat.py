"""How warm the winding gets, and how much it may be asked for: one warm body, copper losses, copper's resistance.

The rise follows C · dT/dt = I² · R(T) - (T - Ta) / Rth with R(T) = R20 · (1 + α · (T - 20)). Both are linear in T, so the
solution is exact: an exponential whose time constant grows with the feedback through the resistance, until at 1 it runs away.
Temperatures in °C, resistances in Ω, times in s, Rth in K/W.
Sources: the resistance method and duty types of IEC 60034-1 (clause numbers from memory); α as engineering handbooks print it.
"""

import math
from dataclasses import dataclass

# Temperature coefficient of copper's resistance, per K, for a resistance at 20 °C: 1 / (234.5 + 20), as it is printed.
COPPER_PER_K = 0.00393
COLD_C = 20.0
# Inferred zero of copper's resistance, in °C below zero, by IEC 60034-1.
COPPER_ZERO_C = 235.0


def resistance_at(resistance_ohm: float, at_c: float, then_c: float, zero_c: float = COPPER_ZERO_C) -> float:
    """Resistance of copper at another temperature: R2 / R1 = (k + t2) / (k + t1)."""
    return resistance_ohm * (zero_c + then_c) / (zero_c + at_c)


def winding_by_resistance(cold_ohm: float, cold_c: float, warm_ohm: float, zero_c: float = COPPER_ZERO_C) -> float:
    """Temperature of a winding from its resistance cold and warm: the resistance method."""
    return warm_ohm / cold_ohm * (zero_c + cold_c) - zero_c


@dataclass(frozen=True, slots=True)
class Winding:
    """A winding in its housing."""

    r20_ohm: float
    k_per_w: float
    ambient_c: float
    time_s: float | None = None
    """Time constant of its warming; None where that is not known."""

    def feedback(self, current_a: float) -> float:
        """How much of each kelvin comes back by the warmer copper: Rth · I² · R20 · α. It runs away from 1 on."""
        return self.k_per_w * current_a**2 * self.r20_ohm * COPPER_PER_K

    def resistance_ohm(self, winding_c: float) -> float:
        """Resistance of the winding at a temperature."""
        return self.r20_ohm * (1 + COPPER_PER_K * (winding_c - COLD_C))

    def for_ever_c(self, current_a: float) -> float | None:
        """Temperature that a constant current ends at; None where it runs away.

        (Ta + Rth · P0 · (1 - 20 · α)) / (1 - Rth · P0 · α), with P0 = I² · R20.
        """
        feedback = self.feedback(current_a)
        if feedback >= 1.0:
            return None
        loss = current_a**2 * self.r20_ohm
        return (self.ambient_c + self.k_per_w * loss * (1 - COLD_C * COPPER_PER_K)) / (1 - feedback)

    def after_c(self, current_a: float, seconds: float, start_c: float | None = None) -> float:
        """Temperature after a constant current for a time, from a temperature or from ambient. Needs the time constant."""
        start = self.ambient_c if start_c is None else start_c
        rate = (1 - self.feedback(current_a)) / self._time
        return start + self._slope(current_a, start) * _grown(rate, seconds)

    def seconds_to(self, limit_c: float, current_a: float, start_c: float | None = None) -> float | None:
        """Time of a constant current to a temperature; None where it never gets there, 0 where it is there."""
        start = self.ambient_c if start_c is None else start_c
        if start >= limit_c:
            return 0.0
        slope = self._slope(current_a, start)
        end = self.for_ever_c(current_a)
        if slope <= 0.0 or (end is not None and end <= limit_c):
            return None
        rate, way = (1 - self.feedback(current_a)) / self._time, (limit_c - start) / slope
        return way if rate == 0.0 else -math.log1p(-rate * way) / rate

    def continuous_a(self, limit_c: float) -> float:
        """Current that ends at a temperature: √((T - Ta) / (Rth · R(T))); 0 where ambient is warmer."""
        return math.sqrt(max(limit_c - self.ambient_c, 0.0) / (self.k_per_w * self.resistance_ohm(limit_c)))

    @property
    def runaway_a(self) -> float:
        """Current from which on the winding warms without end."""
        return 1 / math.sqrt(self.k_per_w * self.r20_ohm * COPPER_PER_K)

    @property
    def _time(self) -> float:
        if self.time_s is None:
            raise ValueError("the time constant of this winding is not known")
        return self.time_s

    def _slope(self, current_a: float, at_c: float) -> float:
        """How fast it warms at a temperature, K/s."""
        loss = current_a**2 * self.resistance_ohm(at_c)
        return (self.k_per_w * loss - (at_c - self.ambient_c)) / self._time


def _grown(rate: float, seconds: float) -> float:
    """(1 - e^(-rate · t)) / rate, and t where the rate is 0."""
    return seconds if rate == 0.0 else -math.expm1(-rate * seconds) / rate
