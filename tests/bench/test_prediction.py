"""What other gains would do, against a loop simulated step by step."""

from __future__ import annotations

import numpy as np
import pytest

from geartender.bench.estimators.identification import position_loop
from geartender.bench.estimators.prediction import Margins, predicted

RATE, LAG_S, STEP_S = 800.0, 0.05, 0.001


def error(kp: float, ki: float, damping: float, push: np.ndarray) -> np.ndarray:
    """Of rate / (s·(lag·s + 1)) under that controller, pushed by a voltage; by small steps."""
    place = speed = total = 0.0
    found = []
    for volts in push:
        total += -place * STEP_S
        drive = volts - kp * place + ki * total - damping * speed / RATE
        speed += (RATE * drive - speed) / LAG_S * STEP_S
        place += speed * STEP_S
        found.append(-place)
    return np.array(found)


def test_the_error_under_other_gains_is_that_of_the_loop_simulated_with_them() -> None:
    push = np.zeros(2000)
    push[100:900] = 0.4
    now, then = (0.02, 0.1, 1.0), (0.06, 0.6, 1.5)
    loops = [position_loop(RATE, LAG_S, 0.0, kp, ki, damping) for kp, ki, damping in (now, then)]
    expected, truth = predicted(error(*now, push), STEP_S, *loops), error(*then, push)
    assert np.max(np.abs(truth)) < 0.5 * np.max(np.abs(error(*now, push)))
    assert np.sqrt(np.mean((expected - truth) ** 2)) < 0.05 * np.sqrt(np.mean(truth**2))


def test_the_same_gains_change_nothing_and_quicker_ones_have_less_margin() -> None:
    calm, quick = (position_loop(RATE, LAG_S, 0.006, kp, 2 * kp, 1.0) for kp in (0.02, 0.08))
    seen = np.sin(np.linspace(0, 9, 500))
    assert predicted(seen, 0.01, calm, calm) == pytest.approx(seen)
    one, other = Margins.of(calm), Margins.of(quick)
    assert one.ms < other.ms
    assert one.gain > other.gain > 1
    assert one.phase_deg > other.phase_deg > 0
