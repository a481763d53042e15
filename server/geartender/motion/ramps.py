"""Quickest changes of velocity, in units where the limits of acceleration and jerk are both 1.

The unit of time is acceleration limit / jerk limit, that of velocity acceleration limit² / jerk limit. What remains is one
number, the velocity limit, and every formula loses its constants. Derivation: the quickest change of velocity is full
jerk one way, at most a stretch at full acceleration, full jerk the other way; its peak acceleration follows from
∫a dt = ∫a da/j.
"""

import math
from bisect import bisect_right
from collections.abc import Iterable
from itertools import accumulate
from typing import NamedTuple

# How far beyond a limit, relative to it, still counts as on it. A state computed to lie exactly on the boundary is off by some
# 1e-16; treating that as outside would put a pointless sliver of braking in front of the path.
ON_THE_LIMIT = 1e-14
# Boundaries of two motions that lie closer than this, relative to their duration, are the same one up to rounding.
BOUNDARIES_MEET = 4e-15


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


def blend(near: list[Phase], far: list[Phase], share: float) -> list[Phase]:
    """The weighted mean of two motions of the same duration from the same state, `share` of it from `far`."""
    near_ends, far_ends = _ends(near), _ends(far)
    sliver = BOUNDARIES_MEET * far_ends[-1]
    blended: list[Phase] = []
    since = 0.0
    for until in sorted({*near_ends, *far_ends}):
        if until - since <= sliver:
            continue
        (jerk, after), (far_jerk, far_after) = (
            _inside(phases, ends, since, until, sliver) for phases, ends in ((near, near_ends), (far, far_ends))
        )
        blended.append(Phase(until - since, jerk + share * (far_jerk - jerk), after + share * (far_after - after)))
        since = until
    return blended


def _ends(phases: list[Phase]) -> list[float]:
    return list(accumulate(phase.duration for phase in phases))


def _inside(phases: list[Phase], ends: list[float], since: float, until: float, sliver: float) -> tuple[float, float]:
    """Jerk between two times that no boundary separates, and the acceleration at the later one."""
    index = min(bisect_right(ends, (since + until) / 2), len(phases) - 1)
    phase, left = phases[index], ends[index] - until
    return phase.jerk, phase.after if abs(left) <= sliver else phase.after - phase.jerk * left


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
    """The part of the quickest change to -limit that leads back down to +limit, and the acceleration there."""
    kept: list[Phase] = []
    for phase in change(v, a, -limit):
        time = _time_to_fall(v - limit, a, phase.jerk)
        if time <= phase.duration:
            a += phase.jerk * time
            kept.append(Phase(time, phase.jerk, a))
            break
        v += phase.duration * (a + phase.duration * phase.jerk / 2)
        a = phase.after
        kept.append(phase)
    # Rounding of a start far outside must not leave more deceleration than can be taken away before the opposite limit.
    return kept, max(a, -2.0 * math.sqrt(limit))


def _time_to_fall(excess: float, a: float, jerk: float) -> float:
    """Time until excess + a·t + jerk·t²/2 falls through zero, infinite if it never does. The jerk is -1, 0 or 1."""
    if jerk == 0.0:
        return max(excess, 0.0) / -a
    discriminant = a * a - 2 * jerk * excess
    if discriminant < 0.0:
        return math.inf
    return -a - math.sqrt(discriminant) if jerk > 0.0 else a + math.sqrt(discriminant)
