"""Two phones: both see it, one holds the helm, both can stop."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import Open
from tests.browser.hands import expect_ready, get_ready, state_words
from tests.browser.service import Service

pytestmark = pytest.mark.browser


def test_the_second_phone_sees_is_refused_and_takes_the_helm(demo: Service, look: Open) -> None:
    first, second = look(demo), look(demo)
    get_ready(first, demo)
    expect_ready(second)
    first.locator("[data-step='1']").click()
    expect(first.locator("[data-quiet-helm] [data-text]")).to_have_text("You hold the helm")
    expect(second.locator("[data-quiet-helm] [data-text]")).to_have_text(re.compile(r"^Phone \w+ holds the helm$"))
    demo.until(lambda snapshot: snapshot["state"] == "ready" and snapshot["angle_deg"] > 10.8)
    expect_ready(second)

    second.locator("[data-step='1']").click()
    expect(second.locator("[data-steps] [data-problem]")).to_have_text(re.compile("helm"))
    second.get_by_role("button", name="Take the helm").click()
    expect(second.locator("[data-quiet-helm] [data-text]")).to_have_text("You hold the helm")
    expect(first.locator("[data-quiet-helm] [data-text]")).to_have_text(re.compile("holds the helm"))


def test_taking_the_helm_in_mid_move_is_asked_first(demo: Service, look: Open) -> None:
    first, second = look(demo), look(demo)
    get_ready(first, demo)
    expect_ready(second)
    first.get_by_label("Move to angle").fill("70")
    first.get_by_label("Move to angle").press("Enter")
    expect(state_words(second)).to_have_text(re.compile("^Moving to 70"))

    question = second.get_by_role("dialog")
    second.get_by_role("button", name="Take the helm").click()
    expect(question).to_contain_text("Taking the helm stops it first")
    expect(second.locator("[data-stop]")).to_be_in_viewport(ratio=1)
    question.get_by_role("button", name="Leave it").click()
    expect(question).to_be_hidden()
    assert demo.snapshot()["helm"]["holder"] != "test"

    second.get_by_role("button", name="Take the helm").click()
    question.get_by_role("button", name="Take the helm").click()
    expect(second.locator("[data-quiet-helm] [data-text]")).to_have_text("You hold the helm")


def test_the_phone_without_the_helm_can_stop(demo: Service, look: Open) -> None:
    first, second = look(demo), look(demo)
    get_ready(first, demo)
    expect_ready(second)
    first.get_by_label("Move to angle").fill("70")
    first.get_by_label("Move to angle").press("Enter")
    expect(state_words(second)).to_have_text(re.compile("^Moving to 70"))
    second.locator("[data-stop]").click()
    demo.state_is("disarmed")
    expect(state_words(first)).to_have_text(re.compile("^Disarmed at"))


def test_a_helm_given_back_is_free(demo: Service, look: Open) -> None:
    page = look(demo)
    get_ready(page, demo)
    page.locator("[data-step='1']").click()
    page.get_by_role("button", name="Give it back").click()
    expect(page.locator("[data-quiet-helm] [data-text]")).to_have_text("Helm free")
