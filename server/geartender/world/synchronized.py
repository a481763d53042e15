"""Whether this machine's clock is known to be right: many boards have none that runs while they are off."""

from __future__ import annotations

import ctypes
import sys
from pathlib import Path

SYNCHRONIZED = (Path("/run/systemd/timesync/synchronized"), Path("/run/geartender-clock/set"))
"""Made once the clock was set: by the time service of systemd, and by our own unit, whatever keeps the time."""

CLOCK_NOT_SYNCHRONIZED = 5
"""TIME_ERROR, what adjtimex(2) returns until some time service has set the clock and kept it."""

TIMEX_BYTES = 512
"""More than the kernel's `struct timex` on any machine; all zero it asks and changes nothing."""


def clock_synchronized() -> bool:
    """Whether a time service has set the clock since the machine started. Where nobody can tell, no."""
    return any(told.exists() for told in SYNCHRONIZED) or (sys.platform == "linux" and _kernel_says_so())


def _kernel_says_so() -> bool:
    try:
        state = ctypes.CDLL(None, use_errno=True).adjtimex(ctypes.create_string_buffer(TIMEX_BYTES))
    except (OSError, AttributeError):
        return False
    return 0 <= int(state) < CLOCK_NOT_SYNCHRONIZED
