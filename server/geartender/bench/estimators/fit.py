"""Values with an uncertainty, least squares, and the jackknife that gives uncertainties which own up to what the model leaves out.

Standard uncertainty in the sense of JCGM 100 (GUM): one standard deviation. The delete-one-group jackknife is that of Tukey
(1958), from memory: variance = (g - 1) / g · sum (estimate without group i - mean of these)².
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TypeVar

import numpy as np

from geartender.bench.estimators.record import Floats

Group = TypeVar("Group")


@dataclass(frozen=True, slots=True)
class Value:
    """An estimate and its standard uncertainty, in the same unit."""

    value: float
    uncertainty: float

    def scaled(self, factor: float) -> Value:
        """In another unit."""
        return Value(self.value * factor, abs(self.uncertainty * factor))

    def with_share(self, share: float) -> Value:
        """With another uncertainty, a share of the value, added in squares."""
        return Value(self.value, math.hypot(self.uncertainty, share * self.value))

    def agrees(self, truth: float, times: float = 2.0) -> bool:
        """Whether a truth lies within so many standard uncertainties."""
        return abs(self.value - truth) <= times * self.uncertainty


def product(factor: float, *powers: tuple[Value, float]) -> Value:
    """factor · product of values to powers; the relative uncertainties add in squares, the values taken as independent."""
    value = factor
    share = 0.0
    for part, power in powers:
        value *= part.value**power
        share += (power * part.uncertainty / part.value) ** 2
    return Value(value, abs(value) * math.sqrt(share))


def mean(samples: Sequence[float] | Floats) -> Value:
    """The mean of repeated measurements (GUM 4.2, type A)."""
    values = np.asarray(samples, float)
    if len(values) < 2:
        return Value(float(values[0]), math.inf)
    return Value(float(values.mean()), float(values.std(ddof=1) / math.sqrt(len(values))))


def solve(design: Floats, seen: Floats) -> tuple[Floats, Floats]:
    """Least squares: the parameters and their standard uncertainties from the scatter of the residuals.

    `design` is (samples, parameters). Columns are scaled first, so that units of any size do no harm.
    """
    scale = np.linalg.norm(design, axis=0)
    scale[scale == 0.0] = 1.0
    parameters, *_ = np.linalg.lstsq(design / scale, seen, rcond=None)
    freedom = max(len(seen) - design.shape[1], 1)
    left = seen - design / scale @ parameters
    covariance = np.linalg.pinv((design / scale).T @ (design / scale)) * float(left @ left) / freedom
    return parameters / scale, np.sqrt(np.clip(np.diag(covariance), 0.0, None)) / scale


def jackknife(groups: Sequence[Group], estimate: Callable[[Sequence[Group]], Floats]) -> tuple[Floats, Floats]:
    """An estimate over all groups, and its standard uncertainties from leaving out one group after the other."""
    whole = estimate(groups)
    parts = [estimate([*groups[:at], *groups[at + 1 :]]) for at in range(len(groups))]
    spread = np.asarray(parts) - np.mean(parts, axis=0)
    return whole, np.sqrt((len(groups) - 1) / len(groups) * np.sum(spread**2, axis=0))
