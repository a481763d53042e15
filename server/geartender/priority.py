"""Which process goes first on a busy machine."""

import contextlib
import os
from pathlib import Path

NICE = -10
"""Nice level of what talks to the firmware: held up for 250 ms, it would be taken for silent, and the lever would stop."""

SESSION = Path("/proc/self/autogroup")
"""Where Linux weighs sessions against each other before it looks at niceness within one, a session's own nice level."""


def go_first() -> None:
    """Ask the system to let this process go before ordinary ones. Where that is not allowed it runs as it is."""
    with contextlib.suppress(OSError):
        os.setpriority(os.PRIO_PROCESS, 0, min(NICE, os.getpriority(os.PRIO_PROCESS, 0)))
        if os.getsid(0) == os.getpid():
            SESSION.write_text(str(NICE), encoding="ascii")
