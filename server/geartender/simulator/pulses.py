"""What sends pulses to the simulated board: a width in a steady frame, as a radio's receiver or a tester makes them."""

from __future__ import annotations

from geartender.firmware.pulse import UNIT

FRAME_US = 20_000
"""Microseconds from pulse to pulse, as is common."""


class Sender:
    """Sends pulses of `width_us` while that is not None; the first ends at the next tick."""

    def __init__(self, frame_us: int = FRAME_US) -> None:
        self.width_us: float | None = None
        self._frame_us = frame_us
        self._due_us = 0

    def ended(self, now_us: int) -> int:
        """The width, in 1/16 µs, of a pulse that has ended since the last call; 0 for none. Times in µs, never back."""
        if self.width_us is None:
            self._due_us = now_us
            return 0
        if now_us < self._due_us:
            return 0
        self._due_us += self._frame_us
        return max(1, round(self.width_us * UNIT))
