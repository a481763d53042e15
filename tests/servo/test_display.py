"""The address to open on a phone reaches a board that has a display, and no other."""

import pytest

from geartender.api.app import page_url
from geartender.config import ServiceSection
from geartender.world import World
from geartender.world.virtual import run_virtual
from tests.servo.rig import Rig, direct, on_rig


@pytest.mark.parametrize("kind", ["ssd1306", "none"])
def test_the_address_is_sent_to_a_board_with_a_display(kind: str) -> None:
    async def scenario(rig: Rig) -> None:
        rig.servo.address = "vent.local:8350"
        await rig.connected()
        shown = rig.sim._board.core.address  # type: ignore[attr-defined]
        assert shown == ("vent.local:8350" if kind == "ssd1306" else "")

    on_rig(scenario, direct(display={"kind": kind}))


@pytest.mark.parametrize(
    ("given", "address"),
    [
        ({}, "http://127.0.0.1:8350/"),
        ({"allowed_hosts": ("vent.local",)}, "http://vent.local:8350/"),
        ({"allowed_hosts": ("https://vent.example", "x")}, "https://vent.example/"),
        ({"allowed_hosts": ("https://vent.example",), "root_path": "/vent"}, "https://vent.example/vent/"),
        ({"allowed_hosts": ("vent.local:80",)}, "http://vent.local:80/"),
        ({"allowed_hosts": ("[fd00::1]",), "port": 80}, "http://[fd00::1]:80/"),
    ],
)
def test_the_address_is_where_the_page_is_opened(given: dict[str, object], address: str) -> None:
    async def found(world: World) -> str:
        return page_url(ServiceSection.model_validate(given), world)

    assert run_virtual(found) == address
