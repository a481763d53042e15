"""Winding temperature by a first-order model of the heat that the current makes.

`heat_num` is the final rise in 1/1000 °C for 1 A²; `heat_tau_s` the time constant in s; `ambient` in 1/10 °C. The tick
sums (current / 16)² / 16 over its ticks; here the sum becomes a mean square, ten times a second.
"""

from . import tick as t

PERIOD_TICKS = 50  # 0.1 s, far below any winding's time constant
_SQUARE = 4096  # what one unit of the tick's sum is in mA²


class Heat:
    """Keeps the winding's rise over ambient."""

    def __init__(self, state):
        self._state = state
        self._rise = 0  # 1/1000000 °C
        self._ticks = 0
        self._sum = 0

    def step(self):
        """Take in the current since the last period, if one has passed; give True if the winding is too hot."""
        s = self._state
        ticks = (s[t.TICKS] - self._ticks) & t.MASK
        if ticks < PERIOD_TICKS:
            return False
        total = s[t.SQUARES]
        square = ((total - self._sum) & t.MASK) * _SQUARE // ticks
        self._sum = total
        self._ticks = s[t.TICKS]
        final = s[t.S_HEAT_NUM] * square // 1000  # 1/1000000 °C: 1/1000 °C per A², over mA²
        tau_ticks = max(1, s[t.S_HEAT_TAU]) * 500
        self._rise += (final - self._rise) * ticks // tau_ticks
        return self.winding() > s[t.S_WINDING_MAX] > 0

    def winding(self):
        """Give the winding's temperature in 1/10 °C."""
        return self._state[t.S_AMBIENT] + self._rise // 100000
