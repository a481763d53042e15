"""What a hand does to the page."""

from __future__ import annotations

import math
import re
from typing import Any

from playwright.sync_api import Locator, Page, expect

from tests.browser.service import Service


def state_words(page: Page) -> Locator:
    return page.locator("[data-state-words]")


def expect_ready(page: Page) -> None:
    expect(state_words(page)).to_have_text(re.compile("^Ready at"))
    expect(page.locator(".grip")).to_have_attribute("aria-disabled", "false")


def get_ready(page: Page, service: Service) -> None:
    """Once the page has loaded, which keeps the machine busy: armed, homed, at rest, and seen to be so."""
    expect(page.locator("html")).not_to_have_attribute("data-stale", "")
    expect(page.locator("[data-servo-name]")).to_have_text("Ridge vent")
    service.make_ready()
    expect_ready(page)


def middle(locator: Locator) -> tuple[float, float]:
    box = locator.bounding_box()
    assert box is not None
    return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2


def ring_turned_by(page: Page, deg: float) -> tuple[tuple[float, float], tuple[float, float]]:
    """Where the ring of the dashed lever is, and where it would be, turned about the hub."""
    ring = middle(page.locator(".grip-ring"))
    hub = middle(page.locator("[data-sheet] circle.edge"))
    x, y = ring[0] - hub[0], ring[1] - hub[1]
    turn = -math.radians(deg)
    return ring, (
        hub[0] + x * math.cos(turn) - y * math.sin(turn),
        hub[1] + x * math.sin(turn) + y * math.cos(turn),
    )


def drag(page: Page, start: tuple[float, float], end: tuple[float, float]) -> None:
    page.mouse.move(*start)
    page.mouse.down()
    page.mouse.move(*end, steps=8)


def press(page: Page, locator: Locator) -> None:
    locator.scroll_into_view_if_needed()
    page.mouse.move(*middle(locator))
    page.mouse.down()


def requests_to(page: Page, ending: str, method: str = "POST") -> list[Any]:
    """A list that fills with the bodies of the requests whose path ends so."""
    seen: list[Any] = []
    page.on(
        "request",
        lambda request: (
            seen.append(request.post_data_json) if request.method == method and request.url.endswith(ending) else None
        ),
    )
    return seen
