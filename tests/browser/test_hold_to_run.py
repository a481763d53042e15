"""Hold-to-run: the lever runs while the button is held, and whatever ends the holding ends the motion."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import pytest
from playwright.sync_api import Page, WebSocketRoute, expect

from tests.browser.conftest import Open
from tests.browser.hands import get_ready, press, state_words
from tests.browser.service import Service

pytestmark = pytest.mark.browser

AT_REST_DEG_S = 0.2


HOLDS_AT_MOST = 3


def hold(page: Page, service: Service) -> None:
    """Hold the button for up until the lever runs. A browser that is kept waiting lets go, and rightly so: then hold again."""
    assert any(_held(page, service) for _ in range(HOLDS_AT_MOST)), service.snapshot()


def _held(page: Page, service: Service) -> bool:
    get_ready(page, service)
    press(page, page.locator("[data-jog=up]"))
    words = state_words(page)
    expect(words).to_have_text(re.compile("^(Running while you hold, at 1[1-9]|Stopping|Ready at 1[1-9])"))
    if service.snapshot()["state"] == "jogging":
        return True
    page.mouse.up()
    return False


def at_rest(service: Service) -> dict[str, Any]:
    return service.until(lambda snapshot: snapshot["state"] == "ready" and abs(snapshot["speed_deg_s"]) < AT_REST_DEG_S)


def expect_over(page: Page, service: Service) -> None:
    """The lever came to rest with drive on, and stays there while the page is still looked at."""
    expect(state_words(page)).to_have_text(re.compile("^Ready at"))
    rest = at_rest(service)
    expect(page.locator("[data-jog=up]")).not_to_have_attribute("data-running", "")
    assert service.snapshot()["angle_deg"] == pytest.approx(rest["angle_deg"], abs=0.1)


def test_runs_until_the_finger_is_lifted(demo: Service, look: Open) -> None:
    page = look(demo)
    hold(page, demo)
    expect(page.locator("[data-jog=up]")).to_have_attribute("data-running", "")
    page.mouse.up()
    expect_over(page, demo)
    assert demo.snapshot()["angle_deg"] > 11


def test_wears_the_words_of_the_sheet(demo: Service, look: Open) -> None:
    page = look(demo)
    travel = demo.snapshot()["travel"]
    expect(page.locator("[data-jog=up] [data-word]")).to_have_text(travel["up_word"].capitalize())
    expect(page.locator("[data-jog=down] [data-word]")).to_have_text(travel["down_word"].capitalize())


LOSSES: dict[str, Callable[[Page], object]] = {
    "the window loses focus": lambda page: page.evaluate("window.dispatchEvent(new Event('blur'))"),
    "the tab is hidden": lambda page: page.evaluate("document.dispatchEvent(new Event('visibilitychange'))"),
    "the page is left": lambda page: page.evaluate("window.dispatchEvent(new Event('pagehide'))"),
    "the system takes the finger": lambda page: page.locator("[data-jog=up]").dispatch_event("pointercancel"),
    "the capture is lost": lambda page: page.locator("[data-jog=up]").dispatch_event("lostpointercapture"),
    "another view is opened": lambda page: page.evaluate("document.querySelector('[data-link=journal]').click()"),
    "the tab is closed": lambda page: page.goto("about:blank"),
}


@pytest.mark.parametrize("loss", LOSSES)
def test_ends_when(loss: str, demo: Service, look: Open) -> None:
    page = look(demo)
    hold(page, demo)
    LOSSES[loss](page)
    at_rest(demo)


def test_ends_when_the_socket_is_cut(demo: Service, look: Open) -> None:
    sockets: list[tuple[WebSocketRoute, WebSocketRoute]] = []

    def prepare(page: Page) -> None:
        page.route_web_socket("**/api/v1/live", lambda route: sockets.append((route, route.connect_to_server())))

    page = look(demo, prepare=prepare)
    hold(page, demo)
    for side in sockets[-1]:
        side.close()
    expect_over(page, demo)


def test_ends_when_its_repeats_no_longer_arrive(demo: Service, look: Open) -> None:
    """A phone that walks out of reach closes nothing: the messages just stop."""
    deaf = False

    def relay(route: WebSocketRoute) -> None:
        server = route.connect_to_server()
        route.on_message(lambda message: None if deaf else server.send(message))

    page = look(demo, prepare=lambda page: page.route_web_socket("**/api/v1/live", relay))
    hold(page, demo)
    deaf = True
    at_rest(demo)


def test_runs_while_enter_is_held(demo: Service, look: Open) -> None:
    page = look(demo)
    get_ready(page, demo)
    page.locator("[data-jog=up]").focus()
    page.keyboard.down("Enter")
    demo.until(lambda snapshot: snapshot["state"] == "jogging")
    page.keyboard.up("Enter")
    expect_over(page, demo)


def test_stop_ends_it_while_the_finger_is_still_down(demo: Service, look: Open) -> None:
    page = look(demo)
    hold(page, demo)
    page.keyboard.press("Escape")
    demo.state_is("disarmed")
    expect(page.locator("[data-jog=up]")).to_be_disabled()
