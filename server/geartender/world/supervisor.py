"""The service manager that started this process, told how it goes: the protocol of sd_notify(3), one datagram for each word."""

from __future__ import annotations

import logging
import os
import socket
from collections.abc import Mapping

log = logging.getLogger(__name__)

READY = "READY=1"
STOPPING = "STOPPING=1"
ALIVE = "WATCHDOG=1"


class Supervisor:
    """Whoever watches over this process. Without an address there is nobody, and nothing is said."""

    def __init__(self, address: str | None = None, watchdog_s: float | None = None) -> None:
        self._address = address
        self.watchdog_s = watchdog_s
        """s without `ALIVE` after which this process is killed and started again; None: nobody counts."""

    @classmethod
    def of(cls, environment: Mapping[str, str]) -> Supervisor:
        """The one that the environment names: `NOTIFY_SOCKET`, and `WATCHDOG_USEC` when it is meant for this process."""
        usec = environment.get("WATCHDOG_USEC", "")
        ours = environment.get("WATCHDOG_PID", str(os.getpid())) == str(os.getpid())
        return cls(environment.get("NOTIFY_SOCKET"), int(usec) / 1e6 if usec.isdecimal() and ours else None)

    def tell(self, *words: str) -> None:
        """Say it, one assignment a word. Waits for nothing; that nobody listens is no reason to end."""
        if not self._address:
            return
        # A leading @ stands for the zero byte of a name that is in no file system (unix(7)).
        address = "\0" + self._address[1:] if self._address.startswith("@") else self._address
        try:
            with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_CLOEXEC | socket.SOCK_NONBLOCK) as line:
                line.sendto("\n".join(words).encode(), address)
        except OSError as error:
            log.warning("the service manager does not listen: %s", error.strerror)
