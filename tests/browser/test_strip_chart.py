"""The strip chart: pause, the time shown, a pinch, a value under the finger."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import Open
from tests.browser.hands import get_ready
from tests.browser.service import Service

pytestmark = pytest.mark.browser


def open_strip(page: Page, service: Service) -> None:
    get_ready(page, service)
    expect(page.locator("[data-plot] canvas")).to_have_count(3)
    page.locator("[data-strip]").scroll_into_view_if_needed()
    expect(page.locator("[data-reading='0']")).to_have_text(re.compile("°$"))


def test_shows_the_value_under_the_finger(demo: Service, look: Open) -> None:
    page = look(demo)
    open_strip(page, demo)
    box = page.locator("[data-plot='1'] .u-over").bounding_box()
    assert box is not None
    page.mouse.move(box["x"] + box["width"] - 4, box["y"] + 10)
    expect(page.locator("[data-strip-note]")).to_have_text(re.compile(r"^Read \d+\.\d s ago$"))
    page.mouse.move(box["x"] + 10, box["y"] - 600)
    expect(page.locator("[data-strip-note]")).to_have_text("")


def test_pauses_and_goes_on(demo: Service, look: Open) -> None:
    page = look(demo)
    open_strip(page, demo)
    page.get_by_role("button", name="Pause").click()
    reading = page.locator("[data-reading='0']")
    before = reading.text_content() or ""
    demo.post("servos/vent/moves", {"to_deg": 14.0}, wait_s=10).raise_for_status()
    expect(page.locator("[data-state-words]")).to_have_text(re.compile(r"^Ready at 1[34]\."))
    expect(reading).to_have_text(before)
    page.get_by_role("button", name="Go on").click()
    expect(reading).not_to_have_text(before)


def test_a_pinch_and_the_buttons_change_the_time_shown(demo: Service, look: Open) -> None:
    page = look(demo)
    open_strip(page, demo)
    page.get_by_role("button", name="10 s").click()
    expect(page.get_by_role("button", name="10 s")).to_have_attribute("aria-pressed", "true")
    box = page.locator("[data-plot='1']").bounding_box()
    assert box is not None
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    touch = page.context.new_cdp_session(page)
    for kind, half in [("touchStart", 100), ("touchMove", 60), ("touchMove", 25)]:
        points = [{"x": x - half, "y": y, "id": 1}, {"x": x + half, "y": y, "id": 2}]
        touch.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})
    touch.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
    expect(page.locator("[data-window][aria-pressed=true]")).to_have_count(0)
