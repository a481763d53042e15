"""How often something may be done: for each client, and by all together. Pure; times are handed in."""

from __future__ import annotations

from collections import OrderedDict
from dataclasses import dataclass

CLIENTS_MAX = 512
"""Clients remembered; the one that was quiet for the longest is forgotten first."""


@dataclass(frozen=True, slots=True)
class Rate:
    """So many a second in the long run, and so many at once."""

    per_s: float
    at_once: float


class Bucket:
    """Lets through what keeps to a rate (a token bucket)."""

    __slots__ = ("_at", "_left", "_rate")

    def __init__(self, rate: Rate) -> None:
        self._rate = rate
        self._left = rate.at_once
        self._at: float | None = None

    def wait_s(self, now: float) -> float:
        """Seconds until one more may pass; 0.0 when it may now."""
        if self._at is not None:
            self._left = min(self._rate.at_once, self._left + (now - self._at) * self._rate.per_s)
        self._at = now
        return 0.0 if self._left >= 1.0 else (1.0 - self._left) / self._rate.per_s

    def take(self, now: float) -> float:
        """Let one pass and count it (0.0), or say after how many seconds it may."""
        wait = self.wait_s(now)
        if wait == 0.0:
            self._left -= 1.0
        return wait


@dataclass(frozen=True, slots=True)
class Rates:
    """The rate of each client, and of all of them together."""

    each: Rate
    all: Rate


class Limiter:
    """Keeps each client and all of them together to their rates."""

    def __init__(self, rates: Rates) -> None:
        self._rates = rates
        self._all = Bucket(rates.all)
        self._each: OrderedDict[str, Bucket] = OrderedDict()

    def take(self, client: str, now: float) -> float:
        """Let one pass and count it (0.0), or say after how many seconds it may. What one is refused costs the others nothing."""
        wait = self._bucket(client).take(now)
        return wait if wait > 0.0 else self._all.take(now)

    def _bucket(self, client: str) -> Bucket:
        bucket = self._each.pop(client, None) or Bucket(self._rates.each)
        self._each[client] = bucket
        if len(self._each) > CLIENTS_MAX:
            self._each.popitem(last=False)
        return bucket
