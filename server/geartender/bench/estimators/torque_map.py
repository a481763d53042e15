"""A map of the running torque over the angle, and what a threshold above it is worth."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from geartender.bench.estimators.record import Floats

LEAST_IN_BIN = 3


@dataclass(frozen=True, slots=True)
class Bin:
    """A piece of the travel, one way."""

    deg: float
    mean_nm: float
    spread_nm: float
    peak_nm: float


def torque_map(angle_deg: Floats, torque_nm: Floats, width_deg: float) -> list[Bin]:
    """Size of the torque by angle, in pieces of that width."""
    size = np.abs(torque_nm)
    number = np.floor(angle_deg / width_deg).astype(int)
    found = []
    for at in np.unique(number):
        here = size[number == at]
        if len(here) >= LEAST_IN_BIN:
            spread = float(here.std(ddof=1))
            found.append(Bin((int(at) + 0.5) * width_deg, float(here.mean()), spread, float(here.max())))
    return found


def false_trips_per_hour(threshold_nm: float, mean_nm: float, spread_nm: float, changes_per_s: float) -> float:
    """How often a swinging torque passes a threshold upwards: f0 · exp(-(T - m)² / (2·s²)) (Rice, 1944, from memory).

    The time that an overload must last is left out, so this is an upper bound.
    """
    if threshold_nm <= mean_nm:
        return changes_per_s * 3600
    if spread_nm <= 0.0:
        return 0.0
    return changes_per_s * 3600 * math.exp(-(((threshold_nm - mean_nm) / spread_nm) ** 2) / 2)


def missed_share(threshold_nm: float, teeth_nm: float, scale_share: float) -> float:
    """Share of overloads at the teeth's limit that a threshold lets pass, when the torque's scale is that uncertain (one sigma)."""
    if scale_share <= 0.0:
        return 0.0 if threshold_nm < teeth_nm else 1.0
    return 0.5 * math.erfc((teeth_nm - threshold_nm) / (scale_share * teeth_nm) / math.sqrt(2))


def between(need_nm: float, spread_nm: float, teeth_nm: float) -> float:
    """A threshold between what the machine needs and what the teeth bear: as far from both, in proportion, but five spreads above
    the need where the teeth allow that."""
    low = need_nm + 5 * spread_nm
    if low >= teeth_nm:
        return teeth_nm
    return min(max(math.sqrt(low * teeth_nm), low), 0.95 * teeth_nm)
