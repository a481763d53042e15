"""Under which address this machine is reached from its network."""

from __future__ import annotations

import socket

SOMEWHERE = ("192.0.2.1", 9)
"""An address that belongs to nobody (RFC 5737). Nothing is sent to it: the machine only says by which of its own it would."""


def address() -> str:
    """The address that this machine has in its network; that of itself alone where it is in none."""
    try:
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
            probe.connect(SOMEWHERE)
            return str(probe.getsockname()[0])
    except OSError:  # no network, or a sandbox that allows none
        return "127.0.0.1"
