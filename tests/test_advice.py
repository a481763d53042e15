"""What `config check` says beside "in order"."""

from typing import Any

import pytest

from geartender.advice import advice
from geartender.cli.running import ridge_vent
from geartender.config import parse_settings

GOOD: dict[str, Any] = {
    "service": {"data_dir": "kept"},
    "servo": [{"name": "vent", "port": "/dev/serial/by-id/usb-vent", "build": str(ridge_vent())}],
}


def test_a_plain_configuration_needs_none() -> None:
    assert list(advice(parse_settings(GOOD))) == []


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"service": {}}, "nothing is kept over a restart"),
        (
            {"service": {"data_dir": "kept", "allowed_hosts": ["https://shed.local"]}},
            "https://shed.local needs a proxy",
        ),
        ({"service": {"data_dir": "kept", "root_path": "/vent"}}, "/vent is a proxy's path"),
        ({"servo": [{**GOOD["servo"][0], "port": "/dev/ttyACM0"}]}, "may be another board after the next plug"),
        ({"servo": [{**GOOD["servo"][0], "unattended": True}]}, "your own decision"),
        ({"notices": {"url": "http://10.0.0.2/x", "secret": "s" * 16}}, "can be read on the way"),
    ],
)
def test_what_a_person_should_know_is_said(changes: dict[str, Any], says: str) -> None:
    (note,) = advice(parse_settings(GOOD | changes))
    assert says in note
