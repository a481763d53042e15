"""Every view: an address of its own, Stop in reach, nothing from elsewhere, nothing for axe to find, small."""

from __future__ import annotations

import re
from urllib.parse import urlsplit

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, Request, expect

from geartender.caution import CAUTION
from tests.browser.conftest import LAPTOP, PHONE, Open
from tests.browser.hands import expect_ready, get_ready
from tests.browser.service import Service

pytestmark = pytest.mark.browser

VIEWS = ["drive", "sequences", "build", "bench", "journal", "settings"]
RULES = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]}
STOP_LEAST_PX = 72
BUDGET_BYTES = 150_000
LONGEST_TASK_MS = 50


def settled(page: Page, view: str) -> None:
    """The view has its content, and the servo's words have arrived."""
    expect(page.locator(f"[data-section={view}]")).to_be_visible()
    expect(page.locator("html")).not_to_have_attribute("data-stale", "")
    if view == "drive":
        expect(page.locator("[data-servo-name]")).to_have_text("Ridge vent")
    else:
        expect(page.locator("[data-stop-note]")).to_have_text(re.compile("^(Ready|Disarmed|Stopped itself)"))
    if view == "build":
        expect(page.locator("[data-glance] dd").first).not_to_be_empty()
    if view == "sequences":
        expect(page.locator("[data-day] svg")).to_be_visible()
    if view == "settings":
        expect(page.locator("[data-servos] dl")).to_be_visible()


def fits_at_200_percent(page: Page) -> None:
    """With letters twice as large nothing is wider than the screen, once the charts have found their new size."""
    page.evaluate("document.documentElement.style.fontSize = '200%'")
    page.wait_for_function("() => document.scrollingElement.scrollWidth <= innerWidth")


@pytest.mark.parametrize("device", [PHONE, LAPTOP], ids=["phone", "laptop"])
@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("view", VIEWS)
def test_axe_finds_nothing(demo: Service, look: Open, view: str, scheme: str, device: dict[str, object]) -> None:
    page = look(demo, view, **device, color_scheme=scheme)
    settled(page, view)
    if view == "drive":
        get_ready(page, demo)
        page.get_by_text("Simulated servo").click()
        expect(page.locator("[data-truth]")).not_to_be_empty()
    results = Axe().run(page, options=RULES)
    assert results.violations_count == 0, results.generate_report()


@pytest.mark.parametrize("view", VIEWS)
def test_stop_and_the_caution_are_on_every_view(demo: Service, look: Open, view: str) -> None:
    page = look(demo, view)
    settled(page, view)
    stop = page.locator("[data-stop]")
    expect(stop).to_be_in_viewport(ratio=1)
    box = stop.bounding_box()
    assert box is not None
    assert box["height"] >= STOP_LEAST_PX
    assert box["width"] == PHONE["viewport"]["width"]
    expect(page.locator("[data-caution]")).to_contain_text(CAUTION)
    stop.click()
    demo.state_is("disarmed")


def test_views_survive_reload_back_and_forward(demo: Service, look: Open) -> None:
    page = look(demo, "")
    settled(page, "drive")
    page.get_by_role("link", name="Build", exact=True).click()
    settled(page, "build")
    assert urlsplit(page.url).path == "/build"
    page.get_by_role("link", name="Settings", exact=True).click()
    settled(page, "settings")
    page.reload()
    settled(page, "settings")
    page.go_back()
    settled(page, "build")
    page.go_back()
    settled(page, "drive")
    page.go_forward()
    settled(page, "build")
    expect(page.get_by_role("link", name="Build", exact=True)).to_have_attribute("aria-current", "page")


def test_drive_stays_in_sight_on_a_laptop(demo: Service, look: Open) -> None:
    page = look(demo, "journal", **LAPTOP)
    settled(page, "journal")
    demo.make_ready()
    expect(page.locator("[data-sheet]")).to_be_in_viewport()
    page.locator("[data-step='1']").click()
    demo.until(lambda snapshot: snapshot["angle_deg"] is not None and abs(snapshot["angle_deg"] - 11.0) < 0.2)
    expect(page.locator("[data-section=journal]")).to_be_visible()


def test_high_contrast_and_the_hand_are_remembered(demo: Service, look: Open) -> None:
    page = look(demo, "settings")
    settled(page, "settings")
    page.get_by_label("High contrast, for the sun on the screen").check()
    page.get_by_label("Left-handed: buttons under the left thumb").check()
    page.reload()
    settled(page, "settings")
    expect(page.locator("html")).to_have_attribute("data-contrast", "high")
    expect(page.locator("html")).to_have_attribute("data-hand", "left")
    results = Axe().run(page, options=RULES)
    assert results.violations_count == 0, results.generate_report()


@pytest.mark.parametrize("view", VIEWS)
def test_nothing_is_wider_than_the_screen_at_200_percent(demo: Service, look: Open, view: str) -> None:
    page = look(demo, view, viewport={"width": 320, "height": 640})
    settled(page, view)
    fits_at_200_percent(page)


def test_whoever_holds_the_helm_is_named_on_a_narrow_screen_with_large_type(demo: Service, look: Open) -> None:
    page = look(demo, "drive", viewport={"width": 320, "height": 640})
    settled(page, "drive")
    demo.make_ready()
    demo.take_the_helm_as("Computer-in-the-kitchen")
    expect(page.locator("[data-act-hint]")).to_contain_text("holds the helm")
    fits_at_200_percent(page)


def test_what_happened_stays_on_a_narrow_screen_with_large_type(demo: Service, look: Open) -> None:
    page = look(demo, "journal", viewport={"width": 320, "height": 640})
    settled(page, "journal")
    demo.trouble("reset")
    expect(page.locator("[data-events]")).to_contain_text("controller")
    fits_at_200_percent(page)


def test_asks_no_other_host_and_keeps_to_the_budget(demo: Service, look: Open) -> None:
    asked: list[Request] = []

    def note(request: Request) -> None:
        asked.append(request)

    page = look(demo, "drive", prepare=lambda page: page.on("request", note))
    settled(page, "drive")
    expect(page.locator("[data-plot] canvas")).to_have_count(3)
    hosts = {urlsplit(request.url).netloc for request in asked}
    assert hosts == {urlsplit(demo.address).netloc}
    sizes = {
        request.url: request.sizes()["responseBodySize"]
        for request in asked
        if "/api/" not in request.url and request.response() is not None
    }
    print(f"{len(sizes)} files, {sum(sizes.values())} bytes compressed")
    assert sum(sizes.values()) < BUDGET_BYTES


@pytest.mark.alone
def test_long_tasks_stay_short_while_it_moves(demo: Service, look: Open) -> None:
    page = look(demo)
    get_ready(page, demo)
    expect(page.locator("[data-plot] canvas")).to_have_count(3)
    page.evaluate(
        """() => { window.longest = 0;
        new PerformanceObserver((list) => list.getEntries().forEach((entry) => {
          window.longest = Math.max(window.longest, entry.duration); })).observe({ type: 'longtask' }); }"""
    )
    page.get_by_label("Move to angle").fill("40")
    page.get_by_label("Move to angle").press("Enter")
    expect(page.locator("[data-state-words]")).to_contain_text("Moving")
    expect_ready(page)
    longest = page.evaluate("window.longest")
    print(f"longest task {longest} ms")
    assert longest <= LONGEST_TASK_MS


def test_nothing_is_redrawn_while_nothing_changes(demo: Service, look: Open) -> None:
    page = look(demo)
    get_ready(page, demo)
    page.get_by_role("button", name="Disarm").click()
    expect(page.locator("[data-act]")).to_have_text("Arm")
    changes = page.evaluate(
        """() => new Promise((resolve) => {
        let seen = 0;
        const watcher = new MutationObserver((records) => { seen += records.length; });
        watcher.observe(document.querySelector('[data-lever]'), { subtree: true, attributes: true, childList: true, characterData: true });
        setTimeout(() => resolve(seen), 1000);
        })"""
    )
    assert changes == 0
