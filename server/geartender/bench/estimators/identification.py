"""Simple models from a step or a relay, the tuning rules for them, and how robust what they give is.

SIMC: S. Skogestad, J. Process Control 13 (2003) 291-309; integrating process and half rule from memory of the same. Relay:
Åström and Hägglund (1984), Ku = 4·d / (π·a), from memory. Two points: C. L. Smith, from memory. Ms, the largest sensitivity
max |1 / (1 + L)|: the least distance of the loop's curve to the point -1 is 1 / Ms.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from geartender.bench.estimators.record import Floats

Response = Callable[[NDArray[np.complex128]], NDArray[np.complex128]]
"""The frequency response of a loop: s to L(s)."""

EARLY, LATE = 1 - math.exp(-1 / 3), 1 - math.exp(-1)
"""Shares of a step response at which it is read: 28.3 % and 63.2 %."""


@dataclass(frozen=True, slots=True)
class FirstOrder:
    """gain · e^(-delay·s) / (lag·s + 1)."""

    gain: float
    lag_s: float
    delay_s: float


@dataclass(frozen=True, slots=True)
class Pi:
    """Gains of the controller kc · (1 + 1 / (ti·s))."""

    kc: float
    ti_s: float


def two_points(t_s: Floats, y: Floats, step: float) -> FirstOrder:
    """The first-order model of a step response that begins at the first sample and has come to rest by the last tenth."""
    final = float(np.mean(y[-max(len(y) // 10, 1) :])) - float(y[0])
    share = (y - y[0]) / final
    early, late = (float(np.interp(level, share, t_s)) for level in (EARLY, LATE))
    lag = 1.5 * (late - early)
    return FirstOrder(final / step, lag, max(late - lag - float(t_s[0]), 0.0))


def half_rule(lags_s: list[float], delay_s: float = 0.0) -> tuple[float, float]:
    """(lag, delay) of the first-order model of a row of lags: half of the second goes to each, all smaller ones to the delay."""
    first, *rest = sorted(lags_s, reverse=True)
    if not rest:
        return first, delay_s
    return first + rest[0] / 2, delay_s + rest[0] / 2 + sum(rest[1:])


def simc(model: FirstOrder, closed_s: float | None = None) -> Pi:
    """SIMC for a first-order model; the closed loop's time constant is the delay unless said otherwise."""
    wanted = model.delay_s if closed_s is None else closed_s
    return Pi(model.lag_s / (model.gain * (wanted + model.delay_s)), min(model.lag_s, 4 * (wanted + model.delay_s)))


def simc_integrating(rate: float, delay_s: float, closed_s: float | None = None) -> Pi:
    """SIMC for rate · e^(-delay·s) / s."""
    wanted = delay_s if closed_s is None else closed_s
    return Pi(1 / (rate * (wanted + delay_s)), 4 * (wanted + delay_s))


def relay(t_s: Floats, y: Floats, amplitude: float) -> tuple[float, float]:
    """(ultimate gain, period in s) from an oscillation that a relay of that amplitude keeps up."""
    middle = (float(y.max()) + float(y.min())) / 2
    rising = np.flatnonzero((y[:-1] < middle) & (y[1:] >= middle))
    if len(rising) < 3:
        raise ValueError("fewer than three periods")
    period = float(np.mean(np.diff(t_s[rising][1:]))) if len(rising) > 3 else float(t_s[rising][-1] - t_s[rising][-2])
    swing = (float(y[rising[1] :].max()) - float(y[rising[1] :].min())) / 2
    return 4 * amplitude / (math.pi * swing), period


def ziegler_nichols(ku: float, pu_s: float) -> Pi:
    """Ziegler and Nichols, Trans. ASME 64 (1942), the PI controller by the ultimate gain."""
    return Pi(0.45 * ku, pu_s / 1.2)


def largest_sensitivity(loop: Response, low: float = 1e-2, high: float = 1e4) -> float:
    """Ms over that range of rad/s; infinite where the loop is not stable by the count of its turns round -1."""
    values = loop((1j * np.geomspace(low, high, 6000)).astype(np.complex128))
    if not stable(values):
        return math.inf
    return float(np.max(1 / np.abs(1 + values)))


def stable(values: NDArray[np.complex128]) -> bool:
    """Whether the curve leaves -1 to its left as w grows: no passage of the real axis left of -1, for loops stable when opened."""
    passes = np.flatnonzero(np.diff(np.sign(values.imag)) != 0)
    return not any(values.real[at] < -1 and abs(values[at]) < 1e6 for at in passes)


def gain_margin(loop: Response, low: float = 1e-2, high: float = 1e4) -> tuple[float, float, float]:
    """(gain margin, phase margin in degrees, w at crossover in rad/s)."""
    w = np.geomspace(low, high, 20_000)
    values = loop((1j * w).astype(np.complex128))
    phase = np.unwrap(np.angle(values))
    size = np.abs(values)
    cross = int(np.argmax(size < 1))
    back = int(np.argmax(phase < -math.pi))
    return float(1 / size[back]), float(180 + math.degrees(phase[cross])), float(w[cross])


def position_loop(rate: float, lag_s: float, delay_s: float, kp: float, ki: float, damping: float) -> Response:
    """The servo's loop, opened: voltage to counts is rate / (s·(lag·s + 1)), late by the delay.

    The controller is kp + ki / s on counts and `damping` volts for a volt of missing back-EMF, 1 / rate volts being that of a
    count per second.
    """

    def loop(s: NDArray[np.complex128]) -> NDArray[np.complex128]:
        return (kp + ki / s + damping / rate * s) * rate * np.exp(-delay_s * s) / (s * (lag_s * s + 1))

    return loop
