"""How far one can get in a given time and be at rest at the end, and the time needed to get a given distance.

In the units of `ramps`: the limits of acceleration and jerk are 1. The start (v, a) must be one that can stay within
the limits, and the time at least that of the quickest stop.

The farthest path raises the velocity as quickly as possible, up to some acceleration `rise` (held for `rise_hold` once
it is 1), and then makes the quickest stop, with the deceleration `fall` (held for `fall_hold` once it is 1). With
c = v - a²/2, ∫a da/j over the whole gives fall² = rise² + c while nothing is held. With u = rise + fall that is
rise - fall = -c/u, and the time is T = 2u - a: so T gives u, and u gives the rest. The held cases follow in the same way
from T + a = (rise + 1)² + c and its mirror image. Raising stops at the velocity limit; from there on more time is spent
at that speed.
"""

import math
from typing import NamedTuple

from geartender.motion.ramps import Phase

# Newton's method on a smooth monotone function doubles its digits with each step; where it leaves the bracket the
# bracket is halved. Ordinary cases take 1 to 10 steps; 60 halvings exhaust the digits of a double.
MOST_STEPS = 100
# Step, relative to the time searched, and error, relative to the distance, below which nothing is left but rounding: two
# units in the last place.
LAST_STEP = 4.5e-16


class Shape(NamedTuple):
    """Peak acceleration and deceleration of a path, how long each is held, and the time spent at the velocity limit."""

    rise: float
    rise_hold: float
    fall: float
    fall_hold: float
    cruise: float = 0.0


class Reach:
    """The farthest paths from one start state."""

    __slots__ = ("_a", "_c", "_full", "_limit", "_v", "full_distance", "full_time")

    def __init__(self, v: float, a: float, limit: float) -> None:
        self._v = v
        self._a = a
        self._c = v - a * a / 2
        self._limit = limit
        self._full = self._full_shape()
        self.full_time = self.time(self._full)
        self.full_distance = self.distance(self._full)

    def _full_shape(self) -> Shape:
        """The path that just touches the velocity limit."""
        rise, rise_hold = math.sqrt(max(self._limit - self._c, 0.0)), 0.0
        if rise > 1.0:
            rise, rise_hold = 1.0, self._limit - self._c - 1.0
        fall, fall_hold = math.sqrt(self._limit), 0.0
        if fall > 1.0:
            fall, fall_hold = 1.0, self._limit - 1.0
        return Shape(max(rise, self._a), rise_hold, fall, fall_hold)

    def in_time(self, time: float) -> Shape:
        """The path that gets farthest in `time`."""
        if time >= self.full_time:
            return self._full._replace(cruise=time - self.full_time)
        a, c = self._a, self._c
        u = (time + a) / 2
        rise, fall = ((u - c / u) / 2, (u + c / u) / 2) if u > 0.0 else (0.0, 0.0)
        if c >= 0.0:
            if fall <= 1.0:
                return Shape(max(rise, a), 0.0, fall, 0.0)
            rise = math.sqrt(max(time + a - c, 0.0)) - 1.0
            if rise <= 1.0:
                return Shape(max(rise, a), 0.0, 1.0, max(rise * rise + c - 1.0, 0.0))
        else:
            if rise <= 1.0:
                return Shape(max(rise, a), 0.0, max(fall, 0.0), 0.0)
            fall = math.sqrt(max(time + a + c, 0.0)) - 1.0
            if fall <= 1.0:
                return Shape(1.0, max(fall * fall - c - 1.0, 0.0), max(fall, 0.0), 0.0)
        rise_hold = max((time + a - 4.0 - c) / 2, 0.0)
        return Shape(1.0, rise_hold, 1.0, max(rise_hold + c, 0.0))

    def turn(self) -> Shape:
        """From a start that moves backwards: brake as hard as possible until the velocity is zero, then stop again at once.

        Its farthest point backwards is the least that any path can have. Where that stop would come too late for the velocity
        limit, the path that just touches the limit.
        """
        rise, rise_hold = math.sqrt(max(-2.0 * self._c, 0.0)), 0.0
        if rise > 1.0:
            rise, rise_hold = 1.0, -self._c - 0.5
        if rise * rise / 2 > self._limit:
            return self._full
        return Shape(max(rise, self._a), rise_hold, rise * math.sqrt(0.5), 0.0)

    def to_distance(self, distance: float, stop_time: float, stop_distance: float) -> Shape:
        """The quickest path that covers `distance`, which must be at least that of the quickest stop."""
        if distance >= self.full_distance:
            return self._full._replace(cruise=(distance - self.full_distance) / self._limit)
        # Stopping first and then moving on from rest is possible, so its time is an upper bound, and exact from rest.
        low, high = stop_time, min(stop_time + time_from_rest(distance - stop_distance, self._limit), self.full_time)
        time, shape = high, self.in_time(high)
        for _ in range(MOST_STEPS):
            error = self.distance(shape) - distance
            if error > 0.0:
                high = time
            else:
                low = time
            slope = self._slope(shape)
            following = time - error / slope if slope > 0.0 else low
            if abs(error) <= LAST_STEP * abs(distance) or min(abs(following - time), high - low) <= LAST_STEP * time:
                break
            time = following if low < following < high else (low + high) / 2
            shape = self.in_time(time)
        return shape

    def time(self, shape: Shape) -> float:
        """Duration of the path."""
        return shape.rise - self._a + shape.rise_hold + shape.rise + 2 * shape.fall + shape.fall_hold + shape.cruise

    def distance(self, shape: Shape) -> float:
        """Distance covered by the path."""
        rise, rise_hold, fall, fall_hold, cruise = shape
        first = rise - self._a
        x = first * (self._v + first * (self._a / 2 + first / 6))
        v = self._v + first * (self._a + first / 2)
        x += rise_hold * (v + rise_hold * rise / 2)
        v += rise_hold * rise
        turn = rise + fall
        x += turn * (v + turn * (rise / 2 - turn / 6))
        # The rest backwards from the end, where everything is zero.
        return x + fall_hold * fall * (fall + fall_hold) / 2 + fall * fall * fall / 6 + cruise * self._limit

    def _slope(self, shape: Shape) -> float:
        """Distance gained per time added: the Hamiltonian of the extremal, taken where the acceleration is zero."""
        return shape.fall * (shape.fall + shape.fall_hold + shape.rise / 2)

    def phases(self, shape: Shape) -> list[Phase]:
        """The path as phases. Some may last 0."""
        rise, rise_hold, fall, fall_hold, cruise = shape
        start = [Phase(rise - self._a, 1.0, rise), Phase(rise_hold, 0.0, rise)]
        turn = [Phase(rise, -1.0, 0.0), Phase(cruise, 0.0, 0.0), Phase(fall, -1.0, -fall)]
        if cruise == 0.0:
            turn = [Phase(rise + fall, -1.0, -fall)]
        return [*start, *turn, Phase(fall_hold, 0.0, -fall), Phase(fall, 1.0, 0.0)]


def time_from_rest(distance: float, limit: float) -> float:
    """Least time from rest to rest; the four classical cases, with acceleration and jerk limits of 1."""
    ramp = limit + 1.0 if limit >= 1.0 else 2.0 * math.sqrt(limit)
    if distance >= limit * ramp:
        return distance / limit + ramp
    if distance >= 2.0:
        return 1.0 + math.sqrt(1.0 + 4.0 * distance)
    return math.cbrt(32.0 * distance)
