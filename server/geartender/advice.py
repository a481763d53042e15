"""What is in order in a configuration, but a person should know. Pure."""

from __future__ import annotations

from collections.abc import Iterator

from geartender.access import is_loopback
from geartender.config import Settings

PASSING_NAMES = ("/dev/ttyACM", "/dev/ttyUSB")
"""Ports by the order in which they were plugged in."""


def advice(settings: Settings) -> Iterator[str]:
    """A sentence for each thing worth knowing."""
    service = settings.service
    if service.data_dir is None and settings.store.url is None:
        yield "service: without data_dir nothing is kept over a restart"
    encrypted = [one for one in service.allowed_hosts if one.startswith("https://")]
    if encrypted and not service.proxies:
        yield f"service: {encrypted[0]} needs a proxy; without its address in proxies every phone looks like the proxy"
    if service.root_path and not service.allowed_hosts:
        yield f"service: {service.root_path} is a proxy's path, but allowed_hosts has no name of a proxy"
    if not is_loopback(service.host) and not encrypted:
        yield "service: it is plain HTTP; whoever is on the network can read along, keys included"
    for servo in settings.servo:
        if servo.port.startswith(PASSING_NAMES):
            yield f"{servo.name}: {servo.port} may be another board after the next plug; use its name in /dev/serial/by-id/"
        if servo.unattended:
            yield f"{servo.name}: the timetable may arm and home it with nobody there; that is your own decision"
    if settings.notices.url is not None and settings.notices.url.startswith("http://"):
        yield "notices: the messages are signed, but can be read on the way; an https address keeps them private"
