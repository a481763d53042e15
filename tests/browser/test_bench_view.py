"""The bench's guided path on a phone: thumb only, keyboard only, left and come back to, and clean for a screen reader."""

from __future__ import annotations

import re
from typing import Literal

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Locator, Page, expect

from tests.browser.conftest import PHONE, Open
from tests.browser.service import Service
from tests.browser.test_views import RULES, fits_at_200_percent, settled

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
    expect(page.locator("[data-run-plots] .bench-plot").first).to_be_visible()
    assert Axe().run(page, options=RULES).response["violations"] == []
    assert own_demo.snapshot()["state"] == "disarmed"


MANY_TABS = 60
"""More than there are controls in front of any other."""


def tab_to(page: Page, control: Locator) -> None:
    for _ in range(MANY_TABS):
        if control.evaluate("node => node === document.activeElement"):
            return
        page.keyboard.press("Tab")
    raise AssertionError(f"no Tab leads to {control}")


def by_key(page: Page, name: str) -> None:
    """Enter on the button that has the focus by itself."""
    expect(page.get_by_role("button", name=name, exact=True)).to_be_focused(timeout=LONG_MS)
    page.keyboard.press("Enter")


def type_number(page: Page, text: str) -> None:
    expect(page.locator("#bench-number")).to_be_focused(timeout=LONG_MS)
    page.keyboard.type(text)
    page.keyboard.press("Enter")


def leave_and_come_back(page: Page) -> None:
    """Until the question is in sight again, as a person would wait."""
    for view in ("journal", "bench"):
        tab_to(page, page.locator(f"nav [data-link={view}]"))
        page.keyboard.press("Enter")
    expect(page.get_by_role("button", name="Go on", exact=True)).to_be_visible()


def test_a_question_left_and_come_back_to_has_the_focus_each_time(demo: Service, look: Open) -> None:
    page = look(demo, "bench", **PHONE)
    to_first_word(page)
    tab_to(page, page.locator("[data-begin=first-power]"))
    page.keyboard.press("Enter")
    go_on = page.get_by_role("button", name="Go on", exact=True)
    expect(go_on).to_be_focused()
    for _ in range(10):
        leave_and_come_back(page)
        assert go_on.evaluate("node => node === document.activeElement")
    tab_to(page, page.get_by_role("button", name="End it"))
    page.keyboard.press("Enter")
    expect(page.locator("[data-run-title]")).to_have_text("First power: Stopped")
    expect(page.locator("[data-run-title]")).to_be_focused()


def test_first_power_with_the_keyboard_alone_from_begin_to_done(own_demo: Service, look: Open) -> None:
    page = look(own_demo, "bench", **PHONE)
    page.set_default_timeout(LONG_MS)
    to_first_word(page)
    title = page.locator("[data-run-title]")
    tab_to(page, page.locator("[data-begin=first-power]"))
    page.keyboard.press("Enter")
    expect(title).to_have_text("Both sensors, by hand", timeout=LONG_MS)
    by_key(page, "Go on")
    expect(title).to_be_focused()
    own_demo.trouble("hand 2")
    type_number(page, "2")
    expect(title).to_have_text("A nudge: which way is up", timeout=LONG_MS)
    leave_and_come_back(page)
    by_key(page, "Go on")
    by_key(page, "Up")
    expect(title).to_have_text("Home, from both sides", timeout=LONG_MS)
    by_key(page, "Go on")
    expect(title).to_have_text("How far it really goes", timeout=LONG_MS)
    by_key(page, "Go on")
    expect(page.locator("[data-run-announced]")).to_contain_text("protractor", timeout=LONG_MS)
    expect(page.locator("[data-run-asked] button")).to_have_count(1)
    by_key(page, "Go on")
    expect(page.locator("#bench-number")).to_be_visible(timeout=LONG_MS)
    far = re.search(r"was to be (\d+)", page.locator("[data-run-asked]").inner_text())
    assert far is not None
    type_number(page, far.group(1))
    expect(title).to_have_text("Every count arrives", timeout=LONG_MS)
    by_key(page, "Go on")
    expect(title).to_have_text("First power: Done", timeout=LONG_MS)
    expect(title).to_be_focused()
    assert own_demo.snapshot()["state"] == "disarmed"


SCHEMES: tuple[Literal["light", "dark"], ...] = ("light", "dark")
MEASURED = {"values": {"ke_v_s": {"value": 0.0229, "uncertainty": 0.001}}}
"""What the knob needs to know of a machine; invented, as the demo's motor is."""


def test_the_knob_shows_what_it_does_before_anything_moves_and_saves_only_when_told(
    own_demo: Service, look: Open
) -> None:
    own_demo.put_measured(MEASURED)
    page = look(own_demo, "bench", viewport={"width": 320, "height": 700}, has_touch=True)
    page.set_default_timeout(LONG_MS)
    to_first_word(page)
    page.locator("[data-begin=tune]").tap()
    by_thumb(page, "Go on")
    growing = page.locator("[data-run-trail] path[data-series]")
    expect(growing).to_be_visible(timeout=LONG_MS)
    before = growing.get_attribute("d")
    expect(growing).not_to_have_attribute("d", before or "")
    knob = page.get_by_role("slider")
    expect(knob).to_be_visible(timeout=LONG_MS)
    expect(knob).to_be_focused()
    expect(page.locator(".knob-shown path[data-series]")).to_have_count(2)
    figures = page.locator(".knob-figures")
    middle = figures.inner_text()
    page.keyboard.press("ArrowRight")
    expect(figures).not_to_have_text(middle)
    expect(knob).to_have_attribute("aria-valuetext", "60 of 100, from calm to quick")
    by_thumb(page, "− calmer")
    assert figures.inner_text() == middle
    for scheme in SCHEMES:
        page.emulate_media(color_scheme=scheme)
        assert Axe().run(page, options=RULES).response["violations"] == []
    fits_at_200_percent(page)
    by_thumb(page, "Try it")
    by_thumb(page, "Go on")
    save = page.get_by_role("button", name="Save", exact=True)
    expect(save).to_be_visible(timeout=LONG_MS)
    assert own_demo.measured()["tuning"] is None
    save.tap()
    expect(page.locator("[data-run-title]")).to_have_text("Tune: Done", timeout=LONG_MS)
    assert own_demo.measured()["tuning"]["knob"] == 0.5
