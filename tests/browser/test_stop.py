"""Stop: on the press, by POST, until it is answered, whatever else is broken."""

from __future__ import annotations

import re
import signal

import pytest
from playwright.sync_api import Route, expect

from tests.browser.conftest import Open
from tests.browser.hands import get_ready, press, requests_to, state_words
from tests.browser.service import Service

pytestmark = pytest.mark.browser


def start_moving(service: Service) -> None:
    service.post("servos/vent/moves", {"to_deg": 70.0}).raise_for_status()
    service.until(lambda snapshot: snapshot["state"] == "moving" and snapshot["speed_deg_s"] > 1)


def test_acts_on_the_press_and_says_what_the_servo_did(demo: Service, look: Open) -> None:
    page = look(demo)
    get_ready(page, demo)
    start_moving(demo)
    press(page, page.locator("[data-stop]"))
    demo.until(lambda snapshot: snapshot["state"] == "disarmed")
    page.mouse.up()
    expect(page.locator("[data-stop-note]")).to_have_text(re.compile(r"^Stopped at \d+.*drive off"))
    assert demo.snapshot()["angle_deg"] < 65


def test_works_with_the_socket_cut(demo: Service, look: Open) -> None:
    page = look(demo, prepare=lambda page: page.route_web_socket("**/api/v1/live", lambda route: route.close()))
    expect(page.locator("html")).to_have_attribute("data-stale", "")
    demo.make_ready()
    start_moving(demo)
    page.locator("[data-stop]").click()
    demo.state_is("disarmed")
    expect(page.locator("[data-stop-note]")).to_have_text("Stop received by the service")


def test_tries_until_it_is_answered(demo: Service, look: Open) -> None:
    attempts = 0

    def lose_two(route: Route) -> None:
        nonlocal attempts
        attempts += 1
        if attempts <= 2:
            route.abort()
        else:
            route.continue_()

    page = look(demo, prepare=lambda page: page.route_web_socket("**/api/v1/live", lambda route: route.close()))
    expect(page.locator("[data-servo-name]")).to_have_text("Ridge vent")
    page.route("**/stop", lose_two)
    demo.make_ready()
    start_moving(demo)
    page.locator("[data-stop]").click()
    expect(page.locator("[data-stop-note]")).to_have_text("Stop received by the service")
    assert attempts == 3
    demo.state_is("disarmed")


def test_holding_it_for_a_second_asks_for_category_0(demo: Service, look: Open) -> None:
    page = look(demo)
    get_ready(page, demo)
    stops = requests_to(page, "/stop")
    with page.expect_request(lambda request: request.url.endswith("/stop") and request.post_data_json["category"] == 0):
        press(page, page.locator("[data-stop]"))
    page.mouse.up()
    assert [body["category"] for body in stops] == [1, 0]


@pytest.mark.parametrize("key", ["Escape", " "])
def test_stops_by_key_also_with_a_button_in_focus(demo: Service, look: Open, key: str) -> None:
    page = look(demo)
    get_ready(page, demo)
    moves = requests_to(page, "/moves")
    page.locator("[data-step='10']").focus()
    page.keyboard.press(key)
    demo.state_is("disarmed")
    assert moves == []


def test_a_space_in_a_field_is_a_space(demo: Service, look: Open) -> None:
    page = look(demo)
    get_ready(page, demo)
    stops = requests_to(page, "/stop")
    page.get_by_label("Move to angle").press(" ")
    expect(page.get_by_label("Move to angle")).to_have_value(" ")
    assert stops == []


def test_a_killed_service_is_never_shown_as_live(own_demo: Service, look: Open) -> None:
    page = look(own_demo)
    get_ready(page, own_demo)
    own_demo.process.send_signal(signal.SIGKILL)
    expect(page.locator("html")).to_have_attribute("data-stale", "")
    expect(page.locator("[data-age]")).to_have_text(re.compile(r"^Last news \d+(\.\d)?\ss ago"))
    expect(state_words(page)).to_have_text("No connection to the service")
    expect(page.locator("[data-step='10']")).to_be_disabled()
    expect(page.locator("[data-stop-note]")).to_have_text("No connection: use the hardware switch")
    page.locator("[data-stop]").click()
    expect(page.locator("[data-stop-note]")).to_have_text("No connection: use the hardware switch")


@pytest.mark.alone
def test_a_stopped_service_turns_the_drawing_grey_within_a_second(own_demo: Service, look: Open) -> None:
    """SIGSTOP leaves the socket open: only the silence tells."""
    page = look(own_demo)
    get_ready(page, own_demo)
    own_demo.process.send_signal(signal.SIGSTOP)
    try:
        expect(page.locator("html")).to_have_attribute("data-stale", "", timeout=1500)
        expect(state_words(page)).to_have_text(re.compile("^No (news|connection)"))
    finally:
        own_demo.process.send_signal(signal.SIGCONT)
    expect(page.locator("html")).not_to_have_attribute("data-stale", "")
    expect(state_words(page)).to_have_text(re.compile("^(Ready|Disarmed)"))
