"""Matches the firmware's clock with the host's: the exchange with the least round trip tells most, drift included.

Host times are seconds on the monotonic clock; firmware times are µs, on the wire modulo `CLOCK_SPAN`.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

from geartender.link.lines import CLOCK_SPAN, wrapped

BUCKET_S = 4.0
"""s; of the exchanges within it only the one with the least round trip is kept."""

BUCKETS = 16
"""Buckets: about a minute, over which the drift is measured."""

DRIFT_SPAN_S = 16.0
"""s; two exchanges must lie so far apart before a drift is read from them, or their round trips would drown it."""

DRIFT_MAX = 500e-6
"""s per s; a resonator can be so far off, a crystal is ten times better. Beyond it the measurement is wrong."""

DRIFT_UNKNOWN = 100e-6
"""s per s; how far two crystals may run apart: what an old exchange loses against a young one."""


@dataclass(frozen=True, slots=True)
class Sample:
    """One exchange: the middle of it on the host's clock, its round trip in s, the firmware's time unwrapped in µs."""

    middle: float
    round_trip: float
    firmware_us: int

    def doubt(self, now: float) -> float:
        """How far off a reading from this sample may be at `now`, in s."""
        return self.round_trip / 2 + abs(now - self.middle) * DRIFT_UNKNOWN


class Clock:
    """Where the firmware's clock stands when the host's shows some time, and the other way round."""

    def __init__(self) -> None:
        self._buckets: deque[Sample] = deque(maxlen=BUCKETS)
        self._bucket_ends = 0.0
        self._best: Sample | None = None
        self._rate = 1.0

    @property
    def known(self) -> bool:
        """Whether there has been an exchange yet."""
        return self._best is not None

    @property
    def drift(self) -> float:
        """How much faster the firmware's clock runs than the host's, s per s."""
        return self._rate - 1.0

    @property
    def round_trip(self) -> float | None:
        """The least round trip of the last minute, s."""
        return min((sample.round_trip for sample in self._buckets), default=None)

    def add(self, sent: float, received: float, t: int) -> None:
        """Take an exchange: the firmware read `t` off its clock at some time between these two."""
        middle = (sent + received) / 2
        firmware_us = self._unwrap(t, middle)
        sample = Sample(middle, received - sent, firmware_us)
        if not self._buckets or received >= self._bucket_ends:
            self._buckets.append(sample)
            self._bucket_ends = received + BUCKET_S
        elif sample.round_trip <= self._buckets[-1].round_trip:
            self._buckets[-1] = sample
        self._rate = self._measure_rate()
        self._best = min(self._buckets, key=lambda one: one.doubt(received))

    def firmware_us(self, host: float) -> int:
        """The firmware's time at that host time, unwrapped. Needs an exchange first."""
        best = self._anchor()
        return best.firmware_us + round((host - best.middle) * 1e6 * self._rate)

    def wire(self, host: float) -> int:
        """The same as it stands on the wire."""
        return self.firmware_us(host) % CLOCK_SPAN

    def host(self, t: int, near: float) -> float:
        """The host time at which the firmware's clock showed `t`, the one closest to `near`."""
        here = self.firmware_us(near)
        return near + wrapped(t - here) / 1e6 / self._rate

    def _anchor(self) -> Sample:
        if self._best is None:
            raise LookupError("no exchange with the firmware yet")
        return self._best

    def _unwrap(self, t: int, host: float) -> int:
        if self._best is None:
            return t
        here = self.firmware_us(host)
        return here + wrapped(t - here)

    def _measure_rate(self) -> float:
        """The firmware's rate, from the best exchange of the older and of the younger half, if these tell it well."""
        half = len(self._buckets) // 2
        samples = list(self._buckets)
        if not half:
            return 1.0
        old, new = (min(part, key=lambda one: one.round_trip) for part in (samples[:half], samples[half:]))
        span = new.middle - old.middle
        if span < DRIFT_SPAN_S or (old.round_trip + new.round_trip) / 2 > DRIFT_UNKNOWN * span:
            return 1.0
        rate = (new.firmware_us - old.firmware_us) / 1e6 / span
        return rate if abs(rate - 1.0) <= DRIFT_MAX else 1.0
