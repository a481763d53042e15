"""How long to wait for an answer before asking again: the usual round trip and its spread, backing off at each resend.

The estimator is that of RFC 6298 (smoothed round trip plus four times its mean deviation), with bounds of our own.
"""

from __future__ import annotations

PATIENCE_FIRST_S = 0.1
"""s; before the first answer: five times what a UART line and a busy board need."""

PATIENCE_MIN_S = 0.02
"""s; ten ticks of the firmware: nothing is won by asking more often."""

PATIENCE_MAX_S = 0.2
"""s; however bad the line, ask ten times before the conversation is given up: it is ours alone, nobody else is slowed.
A line whose round trip is longer is given that."""

ROUND_TRIP_MAX_S = 0.5
"""s; a line slower than telemetry may be late is no line to move by."""

LINE_S = 0.01
"""s; a line of a plan and its answer on a UART of 115200 baud."""

UNCLEAR_MAX = 8
"""Answers in a row to requests sent more than once, after which the line must be slower than thought."""

GAIN = 1 / 8
SPREAD_GAIN = 1 / 4
SPREAD_FACTOR = 4
"""RFC 6298 section 2: weights of a new measurement, and how many mean deviations to allow."""


class Pace:
    """Learns from round trips; says how long to wait after the n-th sending."""

    def __init__(self) -> None:
        self.usual: float | None = None
        """The smoothed round trip, s; None before the first answer."""
        self.least = 0.0
        """The least round trip of a request sent once, s; 0 before the first."""
        self._spread = 0.0
        self._unclear = 0

    def add(self, since_first: float, sends: int) -> None:
        """Take an answer, so long after the first sending of its request.

        Of a request sent more than once nobody knows which sending was answered, so it counts only where nothing is known
        yet, or where it happens all the time.
        """
        self._unclear = self._unclear + 1 if sends > 1 else 0
        if sends == 1:
            self.least = min(self.least or since_first, since_first)
        if sends == 1 or self.usual is None or self._unclear > UNCLEAR_MAX:
            self._unclear = 0
            self._take(min(since_first, ROUND_TRIP_MAX_S))

    def _take(self, round_trip: float) -> None:
        if self.usual is None:
            self.usual, self._spread = round_trip, round_trip / 2
            return
        self._spread += SPREAD_GAIN * (abs(round_trip - self.usual) - self._spread)
        self.usual += GAIN * (round_trip - self.usual)

    def patience(self, sends: int, ahead: int = 0) -> float:
        """Seconds to wait for an answer after it was sent so many times, with so many others in front of it.

        On a line that is slow byte by byte each of those takes its own time.
        """
        known = PATIENCE_FIRST_S if self.usual is None else self.usual + SPREAD_FACTOR * self._spread
        first = max(known + ahead * min(self.least, LINE_S), PATIENCE_MIN_S)
        return min(first * 2.0 ** min(sends - 1, 8), max(first, PATIENCE_MAX_S))
