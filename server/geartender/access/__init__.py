"""Who is let in: Host and Origin rules, body limits, security headers."""

from geartender.access.addresses import Addresses, is_loopback, own_addresses
from geartender.access.door import BODY_MAX_BYTES, Door, Large

__all__ = ["BODY_MAX_BYTES", "Addresses", "Door", "Large", "is_loopback", "own_addresses"]
