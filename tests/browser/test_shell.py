"""The shell that the browser keeps, a page that is older than its service, and the screen that stays on."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import Page, Route, expect

from tests.browser.conftest import PHONE, Open
from tests.browser.hands import get_ready
from tests.browser.service import Service

pytestmark = pytest.mark.browser

KEPT = """async () => {
  const registration = await navigator.serviceWorker.ready;
  const kept = [];
  for (const name of await caches.keys()) {
    for (const request of await (await caches.open(name)).keys()) kept.push(new URL(request.url).pathname);
  }
  return registration.active?.state === 'activated' ? kept : null;
}"""
WAKE_LOCK = """
window.locks = [];
Object.defineProperty(navigator, 'wakeLock', { value: { request: async () => {
  const lock = Object.assign(new EventTarget(), { release: async () => { locks.push('let go'); lock.dispatchEvent(new Event('release')); } });
  locks.push('held');
  window.lock = lock;
  return lock;
} } });
"""
WAITS = {"steps": [{"do": "wait", "for_s": 600}]}


def test_the_kept_shell_opens_without_a_service_and_shows_nothing_as_live(own_demo: Service, look: Open) -> None:
    page = look(own_demo, "drive", **PHONE, service_workers="allow")
    expect(page.locator("[data-servo-name]")).to_have_text("Ridge vent")
    page.wait_for_function(f"async () => (await ({KEPT})()) !== null")
    kept = page.evaluate(KEPT)
    assert "/drive" in kept
    assert [path for path in kept if not re.fullmatch(r"/drive|/static/.*", path)] == []
    own_demo.process.kill()
    own_demo.process.wait()
    page.goto(own_demo.address + "journal")
    expect(page.locator("[data-stop-note]")).to_have_text("No connection: use the hardware switch")
    expect(page.locator("[data-state-words]")).to_have_text("No connection to the service")
    expect(page.locator("[data-sheet] *")).to_have_count(0)


def test_a_page_that_is_older_than_its_service_says_so_and_is_reloaded_by_hand(demo: Service, look: Open) -> None:
    def newer(route: Route) -> None:
        if route.request.method == "HEAD":
            route.fulfill(headers={"ETag": 'W/"newer"'})
        else:
            route.fallback()

    page = look(demo, "drive")
    name = page.locator("[data-servo-name]")
    expect(name).to_have_text("Ridge vent")
    bar = page.locator("[data-outdated]")
    page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")
    expect(bar).to_be_hidden()
    page.route("**/drive", newer)
    page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")
    expect(bar).to_contain_text("this page is older than it")
    page.unroute("**/drive")
    bar.get_by_role("button", name="Reload").click()
    expect(name).to_have_text("Ridge vent")
    expect(bar).to_be_hidden()


def test_the_screen_stays_on_while_a_run_is_watched_and_no_longer(demo: Service, look: Open) -> None:
    def held_and_let_go(page: Page, wanted: list[str]) -> None:
        page.wait_for_function("wanted => JSON.stringify(locks) === JSON.stringify(wanted)", arg=wanted)

    demo.put_sequence("waits", WAITS)
    page = look(demo, "drive", prepare=lambda page: page.add_init_script(WAKE_LOCK))
    get_ready(page, demo)
    assert page.evaluate("locks") == []
    run = demo.post("sequences/waits/runs").raise_for_status().json()["id"]
    held_and_let_go(page, ["held"])
    page.evaluate("lock.release()")  # as the browser does by itself when the page goes out of sight
    page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")
    held_and_let_go(page, ["held", "let go", "held"])
    demo.post(f"runs/{run}/stop").raise_for_status()
    held_and_let_go(page, ["held", "let go", "held", "let go"])
