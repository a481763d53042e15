"""Under which names the service answers, and which pages may speak to it. Pure.

A page of a foreign site can reach a service on this machine in two ways: by a request across origins, which carries the
foreign `Origin`, and by a name of its own that it lets point here, which carries the foreign `Host`. Both are told apart
exactly, port included; there is no pattern and no suffix rule.
"""

from __future__ import annotations

import ipaddress
from collections.abc import Iterable
from dataclasses import dataclass

DEFAULT_PORTS = {"http": 80, "https": 443}
LOOPBACK_NAMES = ("127.0.0.1", "localhost", "[::1]")


@dataclass(frozen=True)
class Addresses:
    """The exact `Host` values that are ours, each with the `Origin` values that its own pages send."""

    origins: dict[str, frozenset[str]]

    def host_is_ours(self, host: str | None) -> bool:
        """Whether a request with this `Host` field is for us. A missing one is not."""
        return host is not None and host.lower() in self.origins

    def origin_is_ours(self, origin: str | None, host: str) -> bool:
        """Whether a page of this `Origin` may use the address `host`; programs send no `Origin`, which is fine."""
        return origin is None or origin in self.origins.get(host.lower(), frozenset())


def is_loopback(host: str) -> bool:
    """Whether an address to listen on can be reached from this machine alone."""
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host.strip("[]")).is_loopback
    except ValueError:
        return False


def own_addresses(host: str, port: int, allowed_hosts: Iterable[str] = ()) -> Addresses:
    """The addresses of a service that listens on `host` and `port`.

    `allowed_hosts` adds names: `vent.local` (with our port, or with none behind a proxy), `vent.local:8080` exactly, or
    `https://vent.example` where a proxy adds encryption.
    """
    origins: dict[str, set[str]] = {}
    for name in {*LOOPBACK_NAMES, _bracketed(host)}:
        _add(origins, "http", f"{name}:{port}")
    for entry in allowed_hosts:
        scheme, _, name = entry.lower().rpartition("://")
        _add(origins, scheme or "http", name)
        if not scheme and not _has_port(name):
            _add(origins, "http", f"{name}:{port}")
    return Addresses({name: frozenset(values) for name, values in origins.items()})


def _add(origins: dict[str, set[str]], scheme: str, host: str) -> None:
    """Put in a host and its origin; the port that belongs to the scheme may be left out of both (RFC 6454 section 6.2)."""
    default = f":{DEFAULT_PORTS[scheme]}"
    short = host.removesuffix(default)
    for name in {short, short + default} if short != host or not _has_port(host) else {host}:
        origins.setdefault(name, set()).add(f"{scheme}://{short}")


def _bracketed(host: str) -> str:
    return f"[{host}]" if ":" in host and not host.startswith("[") else host


def _has_port(host: str) -> bool:
    return host.rpartition("]")[2].count(":") == 1
