"""What other gains would do to a move that was recorded: linear, from the identified model.

Whatever the feed-forward leaves over acts on the loop as a disturbance d at its output, and the error is S·d with the sensitivity
S = 1 / (1 + L). The same move under other gains meets the same d, so its error is the recorded one through S_new / S_old.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geartender.bench.estimators.identification import Response, gain_margin, largest_sensitivity
from geartender.bench.estimators.record import Floats

PADDING = 2
"""Times its own length that a record is lengthened by with zeros, so that its end does not run into its beginning."""


@dataclass(frozen=True, slots=True)
class Margins:
    """How robust a loop is on the model."""

    ms: float
    gain: float
    phase_deg: float

    @classmethod
    def of(cls, loop: Response) -> Margins:
        """Of an opened loop."""
        gain, phase, _ = gain_margin(loop)
        return cls(largest_sensitivity(loop), gain, phase)


def predicted(error: Floats, step_s: float, now: Response, then: Response) -> Floats:
    """The error of a recorded move (samples every `step_s`, any unit) under the loop `then`, recorded under the loop `now`."""
    size = (1 + PADDING) * len(error)
    w = 2 * np.pi * np.fft.rfftfreq(size, step_s)
    w[0] = w[1] / 10  # both loops are endless at rest; their ratio is not
    s = (1j * w).astype(np.complex128)
    changed = np.fft.rfft(error, size) * (1 + now(s)) / (1 + then(s))
    return np.fft.irfft(changed, size)[: len(error)]
