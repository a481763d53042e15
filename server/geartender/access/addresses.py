"""Under which names the service answers, and which pages may speak to it. Pure.

A page of a foreign site can reach a service on this machine in two ways: by a request across origins, which carries the
foreign `Origin`, and by a name of its own that it lets point here, which carries the foreign `Host`. Both are told apart
exactly, port included; there is no pattern and no suffix rule.
"""

from __future__ import annotations

import ipaddress
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

DEFAULT_PORTS = {"http": 80, "https": 443}
LOOPBACK_NAMES = ("127.0.0.1", "localhost", "[::1]")


@dataclass(frozen=True)
class Addresses:
    """The exact `Host` values that are ours, each with the `Origin` values that its own pages send."""

    origins: dict[str, frozenset[str]]

    def host_is_ours(self, host: str | None, reached: str | None = None) -> bool:
        """Whether a request with this `Host` field is for us. A missing one is not.

        `reached` is the address and port at which the connection came in: a numeric address is ours when it was used to come here.
        """
        return host is not None and bool(self._origins_of(host, reached))

    def origin_is_ours(self, origin: str | None, host: str, reached: str | None = None) -> bool:
        """Whether a page of this `Origin` may use the address `host`; programs send no `Origin`, which is fine."""
        return origin is None or origin in self._origins_of(host, reached)

    def is_secure(self, scope: Mapping[str, Any]) -> bool:
        """Whether the browser speaks TLS with us, or with a proxy in front of us."""
        if scope["scheme"] in ("https", "wss"):
            return True
        host = next((value.decode("latin-1") for key, value in scope["headers"] if key == b"host"), "")
        origins = self.origins.get(host.lower(), frozenset())
        return bool(origins) and all(origin.startswith("https:") for origin in origins)

    def _origins_of(self, host: str, reached: str | None) -> frozenset[str]:
        known = self.origins.get(host.lower())
        if known is None and reached is not None:
            here: dict[str, set[str]] = {}
            _add(here, "http", reached)
            known = frozenset(here.get(host.lower(), ()))
        return known or frozenset()


def is_loopback(host: str) -> bool:
    """Whether an address to listen on can be reached from this machine alone."""
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host.strip("[]")).is_loopback
    except ValueError:
        return False


def reached_at(scope: Mapping[str, Any]) -> str | None:
    """The address and port of ours at which a connection came in, as a `Host` field would write them; None: not by one."""
    address, port = scope.get("server") or (None, None)
    if address is None or port is None:
        return None
    try:
        found = ipaddress.ip_address(address)
    except ValueError:
        return None
    mapped = getattr(found, "ipv4_mapped", None)  # how IPv4 comes in where IPv6 listens as well
    return f"{_bracketed(str(mapped or found))}:{port}"


def own_addresses(host: str, port: int, allowed_hosts: Iterable[str] = (), machine: str | None = None) -> Addresses:
    """The addresses of a service that listens on `host` and `port`.

    `machine` is the name of the machine, where others may call it by that; they see it as `machine.local` as well (RFC 6762).
    `allowed_hosts` adds names: `vent.local` (with our port, or with none behind a proxy), `vent.local:8080` exactly, or
    `https://vent.example` where a proxy adds encryption.
    """
    origins: dict[str, set[str]] = {}
    called = () if machine is None else (machine.lower(), f"{machine.lower().removesuffix('.local')}.local")
    for name in {*LOOPBACK_NAMES, _bracketed(host), *called}:
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
