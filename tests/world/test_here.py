"""Which address a machine has in its network, and what is said where it has none, or may not ask."""

import ipaddress
import socket
from typing import Any

import pytest

from geartender.world.here import address


def test_it_is_an_address() -> None:
    assert ipaddress.ip_address(address())


@pytest.mark.parametrize("error", [PermissionError(1, "not permitted"), OSError(97, "family not supported")])
def test_in_a_sandbox_without_a_network_it_is_the_machine_alone(
    monkeypatch: pytest.MonkeyPatch, error: OSError
) -> None:
    def none(*_: Any, **__: Any) -> Any:
        raise error

    monkeypatch.setattr(socket, "socket", none)
    assert address() == "127.0.0.1"
