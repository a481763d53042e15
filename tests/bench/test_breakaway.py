"""Break-away from records that were made up: a motor with dry friction under a voltage that grows."""

from __future__ import annotations

import math

import numpy as np
import pytest

from geartender.bench.estimators.breakaway import Loose, volts_at_start
from geartender.bench.estimators.record import Record

KE, OHM, J = 0.024, 9.0, 2.6e-6
RAD = math.tau / 16
LOOSE = Loose(KE, OHM * J / KE**2, RAD)
STEP_S, FINE = 0.002, 20
PER_S = 0.5


def ramp(holds_v: float, stood: float, way: int = 1, winds_up: int = 0) -> Record:
    """From rest, `stood` of a count into its cell, until twenty counts after it broke away at `holds_v`.

    `winds_up` counts come before, one after the other in even steps of the voltage: the train is wound up.
    """
    place, speed, t = stood * RAD, 0.0, 0.0
    counts, duties = [], []
    while place < (20 + winds_up) * RAD:
        volts = PER_S * t
        counts.append(way * math.floor(place / RAD) if way > 0 else -math.floor(place / RAD))
        duties.append(way * volts / 12.0)
        for _ in range(FINE):
            if volts < holds_v:
                place = (stood + winds_up * max(volts / holds_v - 0.3, 0.0) / 0.7) * RAD
            else:
                speed += KE / (OHM * J) * (volts - holds_v - KE * speed) * STEP_S / FINE
                place += speed * STEP_S / FINE
            t += STEP_S / FINE
            volts = PER_S * t
    size = len(counts)
    return Record(
        STEP_S * np.arange(size), np.asarray(counts), np.asarray(duties), np.zeros(size, bool), np.full(size, 12.0)
    )


@pytest.mark.parametrize("way", [1, -1])
@pytest.mark.parametrize("winds_up", [0, 3])
@pytest.mark.parametrize("stood", [0.1, 0.5, 0.9])
@pytest.mark.parametrize("holds_v", [0.3, 0.8])
def test_the_voltage_at_which_it_broke_away_is_found(holds_v: float, stood: float, winds_up: int, way: int) -> None:
    found = volts_at_start(ramp(holds_v, stood, way, winds_up), way, LOOSE)
    assert found.value == pytest.approx(holds_v, abs=0.005)
    assert found.uncertainty < 0.02


def test_what_did_not_turn_says_so() -> None:
    whole = ramp(0.5, 0.5)
    with pytest.raises(ValueError, match="too few counts"):
        volts_at_start(whole.part(0, 400), 1, LOOSE)
    still = Record(whole.t_s, whole.count, np.zeros(len(whole.t_s)), whole.mark, whole.supply_v)
    with pytest.raises(ValueError, match="not driven"):
        volts_at_start(still, 1, LOOSE)
