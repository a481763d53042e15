"""Tuning rules, identification and positioning metrics against published values.

[M] the citation or the number is from memory, [V-calc] recomputed from the stated formula, [V-lib] by a general-purpose library.
"""

from __future__ import annotations

import math

import control
import numpy as np
import pytest

from geartender.bench.estimators.accuracy import positioning, targets_wanted, unsure_by_reading
from geartender.bench.estimators.identification import (
    FirstOrder,
    gain_margin,
    half_rule,
    largest_sensitivity,
    relay,
    simc,
    simc_integrating,
    two_points,
    ziegler_nichols,
)


# S. Skogestad, J. Process Control 13 (2003) 291-309; E1 and E4 are the paper's [M + V-calc], the others [V-calc].
@pytest.mark.parametrize(
    ("model", "closed", "kc", "ti"),
    [
        (FirstOrder(1, 1.1, 0.1), None, 5.5, 0.8),
        (FirstOrder(1, 1.5, 2.5), None, 0.3, 1.5),
        (FirstOrder(1, 1, 0.1), None, 5.0, 0.8),
        (FirstOrder(1, 1, 0.1), 0.2, 3.333333, 1.0),
        (FirstOrder(1, 1, 0.1), 0.05, 6.666667, 0.6),
    ],
)
def test_simc(model: FirstOrder, closed: float | None, kc: float, ti: float) -> None:
    found = simc(model, closed)
    assert (found.kc, found.ti_s) == (pytest.approx(kc, rel=1e-6), pytest.approx(ti, rel=1e-6))


def test_simc_of_an_integrating_process() -> None:
    found = simc_integrating(0.2, 7.4)  # [V-calc]
    assert (found.kc, found.ti_s) == (pytest.approx(0.337838, rel=1e-5), pytest.approx(59.2))


def test_the_half_rule_gives_the_models_of_the_examples() -> None:
    assert half_rule([1.0, 0.2]) == (pytest.approx(1.1), pytest.approx(0.1))  # E1 [M]
    assert half_rule([1.0, 1.0, 1.0, 1.0]) == (pytest.approx(1.5), pytest.approx(2.5))  # E4 [M]


def test_the_margins_of_the_rule() -> None:
    # The paper's table 1 [M], computed with the exact delay [V-calc]: tolerance 1 %.
    def lag(s: np.ndarray) -> np.ndarray:
        return 0.5 * np.exp(-s) / s

    def integrator(s: np.ndarray) -> np.ndarray:
        return 0.5 * (1 + 1 / (8 * s)) * np.exp(-s) / s

    assert largest_sensitivity(lag) == pytest.approx(1.590, rel=0.01)
    assert gain_margin(lag) == (
        pytest.approx(math.pi, rel=0.01),
        pytest.approx(61.35, rel=0.01),
        pytest.approx(0.5, rel=0.01),
    )
    assert largest_sensitivity(integrator) == pytest.approx(1.704, rel=0.01)
    assert gain_margin(integrator)[:2] == (pytest.approx(2.963, rel=0.01), pytest.approx(46.86, rel=0.01))


def test_a_loop_that_is_not_stable_has_no_margin() -> None:
    assert largest_sensitivity(lambda s: 3.0 * np.exp(-s) / s) == math.inf


def test_the_largest_sensitivity_is_that_of_a_control_library() -> None:
    plant = control.tf([2.0], [0.1, 1.0, 0.0]) * control.tf([0.6, 1.0], [0.6, 0.0])
    response = control.frequency_response(control.feedback(1, plant), np.geomspace(1e-2, 1e4, 6000))
    ours = largest_sensitivity(lambda s: 2.0 * (0.6 * s + 1) / (0.6 * s) / (s * (0.1 * s + 1)))
    assert ours == pytest.approx(float(np.max(response.magnitude)), rel=1e-3)


def test_ziegler_and_nichols() -> None:
    # 1/(s+1)³: Ku = 8, Pu = 2π/√3 [V-lib]; Trans. ASME 64, 1942.
    found = ziegler_nichols(8.0, 2 * math.pi / math.sqrt(3))
    assert (found.kc, found.ti_s) == (pytest.approx(3.6), pytest.approx(3.022999, rel=1e-6))


def test_two_points_of_a_step_response() -> None:
    # C. L. Smith [M], first order, lag 5, delay 1: to a sample on each time.
    t = np.arange(0.0, 60.0, 0.01)
    y = np.where(t > 1.0, 1 - np.exp(-(t - 1.0) / 5.0), 0.0)
    found = two_points(t, 3.0 * y, 1.5)
    assert found.gain == pytest.approx(2.0, rel=1e-3)
    assert found.lag_s == pytest.approx(5.0, abs=0.03)
    assert found.delay_s == pytest.approx(1.0, abs=0.02)


def test_a_relay_finds_the_ultimate_gain_of_a_third_order_lag() -> None:
    # 1/(s+1)³ under a relay: the describing function's Ku = 8 within its own few per cent, Pu = 3.63 s.
    step, state, seen, drive = 0.001, np.zeros(3), [], 1.0
    for _ in range(40_000):
        state = state + step * np.array([drive - state[0], state[0] - state[1], state[1] - state[2]])
        drive = 1.0 if state[2] < 0 else -1.0
        seen.append(state[2])
    t = step * np.arange(len(seen))
    ku, period = relay(t[20_000:], np.array(seen[20_000:]), 1.0)
    assert ku == pytest.approx(8.0, rel=0.08)
    assert period == pytest.approx(3.6276, rel=0.03)


# ISO 230-2:2014 clause 3, the formulas from memory [M]; the set of five runs is invented and worked out by hand.


def test_positioning_metrics() -> None:
    up = np.array([[1.0, 3.0], [2.0, 2.0]])
    down = np.array([[-1.0, 1.0], [0.0, 4.0]])
    found = positioning(up, down)
    s = math.sqrt(2.0)
    assert found.reversal == pytest.approx(2.0)
    assert found.mean_reversal == pytest.approx(1.0)
    assert found.repeatability_up == pytest.approx(4 * s)
    assert found.repeatability_down == pytest.approx(4 * 2 * s)
    assert found.repeatability == pytest.approx(max(2 * s + 2 * s + 2.0, 4 * 2 * s))
    assert found.systematic == pytest.approx(2.0)
    assert found.mean_systematic == pytest.approx(1.0)
    assert found.accuracy == pytest.approx((2 + 4 * s) - (2 - 4 * s))


def test_targets_of_a_rotary_axis() -> None:
    assert [targets_wanted(deg) for deg in (60, 90, 120, 180, 300)] == [3, 3, 5, 5, 8]  # [M]


def test_what_a_gauge_leaves_open_is_half_a_step_for_all_and_a_step_for_each() -> None:
    # JCGM 100:2008 (GUM) 4.3.7: a value anywhere within ±a has the standard uncertainty a/√3; what is common to n readings stays in
    # their mean, the rest is divided by √n [M]. That a reading may be the next step's: common practice, no source.
    runs, targets, step = 5, 3, 0.1
    up, down = np.full((targets, runs), 0.3), np.zeros((targets, runs))
    found = unsure_by_reading(up, down, step)
    assert found.mean_reversal == pytest.approx(
        step / 2 / math.sqrt(3) * math.sqrt(2 / targets * (1 + 4 / runs)), rel=0.1
    )
    assert unsure_by_reading(up, down, 0.0).accuracy == pytest.approx(0.0, abs=1e-12)
