"""The bench's guided path on a phone: thumb only, left and come back to, and clean for a screen reader."""

from __future__ import annotations

import re

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect

from tests.browser.conftest import PHONE, Open
from tests.browser.service import Service
from tests.browser.test_views import RULES, settled

pytestmark = pytest.mark.browser

LONG_MS = 120_000
"""A step moves the lever over its travel, in real time."""


def to_first_word(page: Page) -> None:
    settled(page, "bench")
    expect(page.get_by_role("heading", name="First power")).to_be_visible()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_list_and_question_are_clean(demo: Service, look: Open, scheme: str) -> None:
    page = look(demo, "bench", **PHONE, color_scheme=scheme)
    to_first_word(page)
    assert Axe().run(page, options=RULES).response["violations"] == []
    page.locator("[data-begin=first-power]").tap()
    expect(page.get_by_role("button", name="Go on")).to_be_visible()
    assert Axe().run(page, options=RULES).response["violations"] == []
    page.get_by_role("button", name="End it").tap()
    expect(page.locator("[data-run-title]")).to_have_text("First power: Stopped")
    page.get_by_role("button", name="All procedures").tap()
    expect(page.locator("[data-begin=measure]")).to_be_visible()


def by_thumb(page: Page, name: str) -> None:
    page.get_by_role("button", name=name, exact=True).tap()


def test_first_power_with_one_thumb_from_begin_to_done(own_demo: Service, look: Open) -> None:
    page = look(own_demo, "bench")
    page.set_default_timeout(LONG_MS)
    to_first_word(page)
    page.locator("[data-begin=first-power]").tap()
    expect(page.locator("[data-run-title]")).to_have_text("Both sensors, by hand", timeout=LONG_MS)
    by_thumb(page, "Go on")
    own_demo.trouble("hand 2")
    number = page.locator("#bench-number")
    expect(number).to_be_visible(timeout=LONG_MS)
    number.fill("2")
    number.press("Enter")
    expect(page.locator("[data-run-title]")).to_have_text("A nudge: which way is up", timeout=LONG_MS)
    # left and come back to: the question still stands
    page.locator("nav [data-link=journal]").click()
    page.locator("nav [data-link=bench]").click()
    expect(page.locator("[data-run-title]")).to_have_text("A nudge: which way is up", timeout=LONG_MS)
    by_thumb(page, "Go on")
    expect(page.get_by_role("button", name="Up", exact=True)).to_be_visible(timeout=LONG_MS)
    by_thumb(page, "Up")
    expect(page.locator("[data-run-title]")).to_have_text("Home, from both sides", timeout=LONG_MS)
    by_thumb(page, "Go on")
    expect(page.locator("[data-run-title]")).to_have_text("How far it really goes", timeout=LONG_MS)
    by_thumb(page, "Go on")
    expect(page.locator("[data-run-announced]")).to_contain_text("protractor", timeout=LONG_MS)
    expect(page.get_by_role("button", name="Go on", exact=True)).to_be_visible(timeout=LONG_MS)
    by_thumb(page, "Go on")
    expect(page.locator("#bench-number")).to_be_visible(timeout=LONG_MS)
    far = re.search(r"was to be (\d+)", page.locator("[data-run-asked]").inner_text())
    assert far is not None
    page.locator("#bench-number").fill(far.group(1))
    page.locator("#bench-number").press("Enter")
    expect(page.locator("[data-run-title]")).to_have_text("Every count arrives", timeout=LONG_MS)
    by_thumb(page, "Go on")
    expect(page.locator("[data-run-title]")).to_have_text("First power: Done", timeout=LONG_MS)
    expect(page.locator(".bench-plot").first).to_be_visible()
    assert Axe().run(page, options=RULES).response["violations"] == []
    assert own_demo.snapshot()["state"] == "disarmed"
