"""What a sensor's voltage becomes at the pin, through a series resistor, a Zener clamp or a divider, and whether the pin reads it.

Levels of the 3.3 V interface, 2.7 to 3.6 V: JEDEC JESD8C.01. Outside it: 0.3 and 0.7 of the supply, as many CMOS parts specify.
"""

import math
from dataclasses import dataclass

from geartender.build.tables import Input

LOWEST_3V3, HIGHEST_3V3 = 2.7, 3.6
LOW_AT_MOST_V, HIGH_AT_LEAST_V = 0.8, 2.0
CMOS_LOW, CMOS_HIGH = 0.3, 0.7


@dataclass(frozen=True, slots=True)
class PinLevels:
    """The sensor as the pin sees it, in V, mA and mW."""

    high_v: float
    low_v: float
    clamp_current_ma: float
    """Through the Zener diode while the sensor is high."""
    clamp_mw: float
    series_mw: float
    """In the series resistor while the sensor is high."""


def levels(circuit: Input) -> PinLevels | None:
    """The levels at the pin; None where a clamp has no resistor before it, so that only the sensor limits the current.

    Clamp: I = (V - Vz) / R, the pin stays at Vz. Divider: V · Rd / (R + Rd). The pin's own current is neglected, and the knee of
    the diode taken as sharp.
    """
    high, low = (_unclamped(circuit, volts) for volts in (circuit.sensor_high_v, circuit.sensor_low_v))
    if circuit.clamp_v is None or high <= circuit.clamp_v:
        amperes = circuit.sensor_high_v / _whole(circuit) if circuit.divider_ohm else 0.0
        return PinLevels(high, low, 0.0, 0.0, 1e3 * amperes**2 * circuit.series_ohm)
    if circuit.series_ohm == 0.0:
        return None
    amperes = (circuit.sensor_high_v - circuit.clamp_v) / circuit.series_ohm
    pin_low = min(low, circuit.clamp_v)
    return PinLevels(
        circuit.clamp_v, pin_low, 1e3 * amperes, 1e3 * circuit.clamp_v * amperes, 1e3 * amperes**2 * circuit.series_ohm
    )


def _whole(circuit: Input) -> float:
    return circuit.series_ohm + (circuit.divider_ohm or 0.0)


def _unclamped(circuit: Input, volts: float) -> float:
    return volts * circuit.divider_ohm / _whole(circuit) if circuit.divider_ohm else volts


def least_high_v(logic_v: float) -> float:
    """The voltage from which the pin reads high for certain."""
    return HIGH_AT_LEAST_V if LOWEST_3V3 <= logic_v <= HIGHEST_3V3 else CMOS_HIGH * logic_v


def most_low_v(logic_v: float) -> float:
    """The voltage up to which the pin reads low for certain."""
    return LOW_AT_MOST_V if LOWEST_3V3 <= logic_v <= HIGHEST_3V3 else CMOS_LOW * logic_v


@dataclass(frozen=True, slots=True)
class EdgeTimes:
    """How late the pin sees the sensor change, in s; None where the level is never reached."""

    rise_s: float | None
    fall_s: float | None


def edge_times(circuit: Input) -> EdgeTimes:
    """Time through the resistor and the capacitor to the level that reads high, and back to the one that reads low.

    τ = R · C, R being series and divider side by side. A clamp cuts the rise off, and the fall starts from it.
    """
    series, divider = circuit.series_ohm, circuit.divider_ohm
    resistance = series * divider / (series + divider) if divider else series
    tau = resistance * (circuit.capacitor_f or 0.0)
    high, low = (_unclamped(circuit, volts) for volts in (circuit.sensor_high_v, circuit.sensor_low_v))
    top = high if circuit.clamp_v is None else min(high, circuit.clamp_v)
    rise = _way(low, high, least_high_v(circuit.logic_v))
    fall = _way(top, low, most_low_v(circuit.logic_v))
    return EdgeTimes(None if rise is None else tau * rise, None if fall is None else tau * fall)


def _way(start: float, end: float, level: float) -> float | None:
    """Time constants that an exponential takes from a start, towards an end, to a level; None if it never gets there."""
    if (level - start) * (end - start) <= 0.0:
        return 0.0
    if (end - level) * (end - start) <= 0.0:
        return None
    return math.log((end - start) / (end - level))


def least_series_ohm(sensor_v: float, clamp_v: float, clamp_w: float) -> float:
    """The smallest series resistor that keeps a Zener diode within its power: (V - Vz) · Vz / P."""
    return (sensor_v - clamp_v) * clamp_v / clamp_w


def series_for_current_ohm(sensor_v: float, clamp_v: float, current_a: float) -> float:
    """The series resistor that lets a current through the Zener diode: (V - Vz) / I."""
    return (sensor_v - clamp_v) / current_a
