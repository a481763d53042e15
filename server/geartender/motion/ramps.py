"""Quickest changes of velocity, in units where the limits of acceleration and jerk are both 1.

The unit of time is acceleration limit / jerk limit, that of velocity acceleration limit² / jerk limit. What remains is one
number, the velocity limit, and every formula loses its constants. Derivation: the quickest change of velocity is full
jerk one way, at most a stretch at full acceleration, full jerk the other way; its peak acceleration follows from
∫a dt = ∫a da/j.
"""

import math
from collections.abc import Iterable
from typing import NamedTuple

# How far beyond a limit, relative to it, still counts as on it. A state computed to lie exactly on the boundary is off by some
# 1e-16; treating that as outside would put a pointless sliver of braking in front of the path.
ON_THE_LIMIT = 1e-14
# What is left of a phase when less than this share of it is left: rounding of the boundary that it was cut at.
SLIVER = 4e-15


class Phase(NamedTuple):
    """Constant jerk for a duration. `after` is the acceleration at its end, known without accumulated rounding."""

    duration: float
    jerk: float
    after: float


def change(v: float, a: float, wanted: float) -> list[Phase]:
    """Quickest phases from (v, a) to (wanted, 0); |a| must be within its limit. Some may last 0."""
    way = 1.0 if v + a * abs(a) / 2 <= wanted else -1.0
    peak_squared = max(way * (wanted - v) + a * a / 2, 0.0)
    peak, hold = (1.0, peak_squared - 1.0) if peak_squared > 1.0 else (math.sqrt(peak_squared), 0.0)
    return [
        Phase(max(peak - way * a, 0.0), way, way * peak),
        Phase(hold, 0.0, way * peak),
        Phase(peak, -way, 0.0),
    ]


def travel(phases: Iterable[Phase], v: float, a: float) -> float:
    """Distance covered by the phases from (v, a)."""
    x = 0.0
    for duration, jerk, after in phases:
        x += duration * (v + duration * (a / 2 + duration * jerk / 6))
        v += duration * (a + duration * jerk / 2)
        a = after
    return x


def blend(a: float, near: list[Phase], far: list[Phase], share: float) -> list[Phase]:
    """The weighted mean of two motions from one state with the acceleration `a`, `share` of it from `far`.

    `near` is the shorter one and ends at rest, where it waits until `far` is over too.
    """
    blended: list[Phase] = []
    waiting = [*near, Phase(math.inf, 0.0, 0.0)]
    slow = waiting.pop(0)
    near_left, near_a, far_a = slow.duration, a, a
    for phase in far:
        far_left = phase.duration
        while far_left > SLIVER * phase.duration:
            while near_left <= SLIVER * slow.duration and waiting:
                near_a, slow = slow.after, waiting.pop(0)
                near_left = slow.duration
            step = min(far_left, near_left)
            far_left, near_left = far_left - step, near_left - step
            far_a = far_a + step * phase.jerk if far_left > SLIVER * phase.duration else phase.after
            near_a = near_a + step * slow.jerk if near_left > SLIVER * slow.duration or not waiting else slow.after
            jerk = slow.jerk + share * (phase.jerk - slow.jerk)
            blended.append(Phase(step, jerk, near_a + share * (far_a - near_a)))
    return blended


def within_acceleration(v: float, a: float) -> tuple[list[Phase], float, float]:
    """Bring an acceleration above its limit back to it at full jerk; returns the phases, v and a after them."""
    if abs(a) <= 1.0:
        return [], v, a
    way = math.copysign(1.0, a)
    excess = abs(a) - 1.0
    return [Phase(excess, -way, way)], v + way * excess * (abs(a) + 1.0) / 2, way


def into_limits(v: float, a: float, limit: float) -> tuple[list[Phase], float, float]:
    """Quickest phases into the states that can stay within all limits for good; returns them, v and a after them.

    First the acceleration. Then the velocity, where it is above its limit or can no longer be kept from passing it: brake as
    hard as allowed until it is on the limit again. That arrives with an acceleration away from the limit, but never one so
    large that the opposite limit would be passed.
    """
    phases, v, a = within_acceleration(v, a)
    highest = limit * (1.0 + ON_THE_LIMIT)
    rise = a * abs(a) / 2  # what the velocity still gains while the acceleration is brought to zero
    if v + max(rise, 0.0) > highest and v + rise >= -highest:
        way = 1.0
    elif v + min(rise, 0.0) < -highest:
        way = -1.0
    else:
        return phases, v, a
    braking, a = _brake_to_limit(way * v, way * a, limit)
    phases += [Phase(duration, way * jerk, way * after) for duration, jerk, after in braking]
    return phases, way * limit, way * a


def _brake_to_limit(v: float, a: float, limit: float) -> tuple[list[Phase], float]:
    """The part of the quickest change to -limit that leads back down to +limit, and the acceleration there.

    Which of the three phases of that change passes +limit is told by the decelerations, never by a difference of velocities:
    those of a start far outside have lost the digits that matter here.
    """
    peak_squared = max(v + limit + a * a / 2, 0.0)
    peak = min(math.sqrt(peak_squared), 1.0)
    first = Phase(max(a + peak, 0.0), -1.0, -peak)
    # From this deceleration at +limit, taken away at full jerk, the velocity just comes to -limit.
    most = 2.0 * math.sqrt(limit)
    if peak > most:
        return [first, Phase(max(peak_squared - 1.0, 0.0), 0.0, -peak), Phase(peak - most, 1.0, -most)], -most
    fall = math.sqrt(max(a * a + 2.0 * (v - limit), 0.0))
    if fall > 1.0:
        return [first, Phase((fall * fall - 1.0) / 2, 0.0, -1.0)], -1.0
    return [Phase(max(a + fall, 0.0), -1.0, -fall)], -fall
