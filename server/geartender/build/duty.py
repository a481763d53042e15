"""Duties that are not continuous: how they are named, how much more they may ask for, and the torque that stands for a cycle.

Source: IEC 60034-1, clause 4.2 (its number, the ten-minute cycle and the preferred values from memory).
"""

import math
from collections.abc import Sequence

DUTY_TYPES = {
    "S1": "continuous running",
    "S2": "short-time",
    "S3": "intermittent periodic",
    "S4": "intermittent periodic with starting",
    "S5": "intermittent periodic with electric braking",
    "S6": "continuous-operation periodic",
    "S7": "continuous-operation periodic with electric braking",
    "S8": "continuous-operation periodic with related load and speed changes",
    "S9": "non-periodic load and speed variations",
    "S10": "discrete constant loads and speeds",
}
# Cycle of an intermittent duty where nothing else is said, in s, and the preferred shares of it.
CYCLE_S = 600.0
CYCLIC_FACTORS = (0.15, 0.25, 0.40, 0.60)
# Preferred times of a short-time duty, in s.
SHORT_TIMES_S = (600.0, 1800.0, 3600.0, 5400.0)


def short_time_name(on_s: float) -> str:
    """A short-time duty as it is written: S2 10 min."""
    return f"S2 {on_s / 60:g} min"


def periodic_name(factor: float) -> str:
    """An intermittent periodic duty as it is written: S3 25 %."""
    return f"S3 {100 * factor:g} %"


def short_time_factor(on_s: float, time_s: float) -> float:
    """Loss of a short-time duty (S2) as a multiple of the continuous one, cold at its start: 1 / (1 - e^(-on/τ))."""
    return -1 / math.expm1(-on_s / time_s)


def periodic_peak(on_s: float, off_s: float, time_s: float) -> float:
    """Peak of an intermittent duty (S3) as a share of the final rise: (1 - e^(-on/τ)) / (1 - e^(-(on + off)/τ))."""
    return math.expm1(-on_s / time_s) / math.expm1(-(on_s + off_s) / time_s)


def rms_torque(segments: Sequence[tuple[float, float, float]]) -> float:
    """The steady torque that warms as a cycle does: √(∑ T²·t / ∑ t), pauses counted in.

    Each segment is its torque at the start and at the end, straight between, and its time: (T1² + T1·T2 + T2²) / 3 is its mean
    square. Raises ValueError for a cycle that takes no time.
    """
    whole = sum(seconds for _, _, seconds in segments)
    if whole <= 0.0:
        raise ValueError("a cycle must take some time")
    return math.sqrt(sum((a * a + a * b + b * b) / 3 * seconds for a, b, seconds in segments) / whole)
