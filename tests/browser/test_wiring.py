"""The wiring in the Build view: drawn and listed from the sheet that is being edited, and printed by itself."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect

from tests.browser.conftest import PHONE, Open
from tests.browser.service import Service
from tests.browser.test_build_view import LEAF, field, opened
from tests.browser.test_views import RULES, fits_at_200_percent

pytestmark = pytest.mark.browser


@pytest.fixture
def sheet(demo: Service) -> Iterator[dict[str, Any]]:
    before = demo.sheet()
    demo.post("servos/vent/disarm")
    yield before
    demo.put_sheet(before)


def wired(page: Page) -> Page:
    """The part opened, and there."""
    expect(page.locator("[data-glance] dd").first).not_to_be_empty()
    page.locator("[data-wiring] > summary").click()
    expect(page.locator("[data-wiring] svg")).to_be_visible()
    return page


def test_the_drawing_and_the_table_follow_the_sheet(demo: Service, look: Open, sheet: dict[str, Any]) -> None:
    page = wired(look(demo, "build"))
    part = page.locator("[data-wiring]")
    enable = part.get_by_role("row", name=re.compile("H-bridge, enable"))
    expect(enable).to_contain_text("GPIO 8")
    expect(enable).to_contain_text("10 kΩ to ground")
    expect(part.locator("svg")).to_contain_text("GPIO 8")
    expect(part.locator(".cautions")).to_contain_text("emergency stop")
    expect(part).to_contain_text("grounds of supply, bridge, microcontroller and sensors meet")
    opened(page, "pins")
    field(page, "pins.enable").fill("15")
    expect(enable).to_contain_text("GPIO 15")
    field(page, "pins.enable").fill("6")
    expect(part.locator("[data-problem]")).to_contain_text("share GPIO 6")


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing(demo: Service, look: Open, sheet: dict[str, Any], scheme: str) -> None:
    page = wired(look(demo, "build", **PHONE, color_scheme=scheme))
    results = Axe().run(page, options=RULES)
    assert results.violations_count == 0, results.generate_report()
    fits_at_200_percent(page)


def test_it_prints_by_itself_on_one_page(demo: Service, look: Open, sheet: dict[str, Any]) -> None:
    page = wired(look(demo, "build"))
    page.evaluate("window.print = () => {}")
    page.get_by_role("button", name="Print the wiring").click()
    assert len(LEAF.findall(page.pdf(prefer_css_page_size=True, print_background=True))) == 1
    page.get_by_role("button", name="Print the wiring").click()
    page.emulate_media(media="print")
    expect(page.locator("[data-wiring] svg")).to_be_visible()
    expect(page.locator("[data-sheet-form]")).to_be_hidden()
    expect(page.locator("[data-caution]")).to_be_visible()
    page.evaluate("dispatchEvent(new Event('afterprint'))")
    expect(page.locator("[data-wiring]")).to_be_hidden()
