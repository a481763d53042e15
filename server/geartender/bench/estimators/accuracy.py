"""Accuracy and repeatability of positioning, ISO 230-2:2014 clause 3, with its symbols (the formulas from memory)."""

from __future__ import annotations

from dataclasses import astuple, dataclass

import numpy as np

from geartender.bench.estimators.record import Floats

DRAWS = 300
"""Of readings within their steps."""


@dataclass(frozen=True, slots=True)
class Positioning:
    """What the standard makes of deviations, in their unit. `up` and `down` are the ways of approach."""

    reversal: float
    """B: the largest reversal error."""
    mean_reversal: float
    repeatability_up: float
    """R up: the largest unidirectional repeatability."""
    repeatability_down: float
    repeatability: float
    """R: bidirectional."""
    systematic: float
    """E: bidirectional systematic deviation."""
    mean_systematic: float
    """M: the range of the mean bidirectional deviations."""
    accuracy: float
    """A: bidirectional."""


def positioning(up: Floats, down: Floats) -> Positioning:
    """From deviations, actual less target, as (targets, runs) for each way. Raises ValueError with fewer than two runs."""
    if up.shape != down.shape or up.shape[1] < 2:
        raise ValueError("as many targets and runs both ways, and at least two runs")
    mean_up, mean_down = up.mean(axis=1), down.mean(axis=1)
    s_up, s_down = up.std(axis=1, ddof=1), down.std(axis=1, ddof=1)
    b = mean_up - mean_down
    middle = (mean_up + mean_down) / 2
    both = np.maximum(2 * s_up + 2 * s_down + np.abs(b), np.maximum(4 * s_up, 4 * s_down))
    means = np.concatenate([mean_up, mean_down])
    highest = np.max(np.concatenate([mean_up + 2 * s_up, mean_down + 2 * s_down]))
    lowest = np.min(np.concatenate([mean_up - 2 * s_up, mean_down - 2 * s_down]))
    return Positioning(
        reversal=float(np.max(np.abs(b))),
        mean_reversal=float(b.mean()),
        repeatability_up=float(np.max(4 * s_up)),
        repeatability_down=float(np.max(4 * s_down)),
        repeatability=float(both.max()),
        systematic=float(means.max() - means.min()),
        mean_systematic=float(middle.max() - middle.min()),
        accuracy=float(highest - lowest),
    )


def unsure_by_reading(up: Floats, down: Floats, step: float) -> Positioning:
    """What reading to a step leaves open of each figure, as a standard uncertainty; by many draws within the steps.

    A machine that repeats better than the step shows the same reading run after run, so that half of a step may be off for all
    runs to a target, and each reading may be the next step's: extremes and spreads are made of few.
    """
    chance = np.random.default_rng(len(up))
    plain = np.asarray(astuple(positioning(up, down)))

    def drawn(one: Floats) -> Floats:
        return one + chance.uniform(-step / 2, step / 2, (len(one), 1)) + chance.uniform(-step, step, one.shape)

    draws = np.asarray([astuple(positioning(drawn(up), drawn(down))) for _ in range(DRAWS)])
    return Positioning(*(float(one) for one in np.sqrt(np.mean((draws - plain) ** 2, axis=0))))


def targets_wanted(travel_deg: float) -> int:
    """Targets of a rotary axis at least: 3 up to 90° of travel, 5 up to 180°, 8 above."""
    return 3 if travel_deg <= 90 else 5 if travel_deg <= 180 else 8
