"""A jam: why it stopped, what to do, the frozen strip; reset moves nothing."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import Open
from tests.browser.hands import get_ready, state_words
from tests.browser.service import Service

pytestmark = pytest.mark.browser


def open_drawer(page: Page, service: Service) -> None:
    get_ready(page, service)
    page.get_by_text("Simulated servo").click()


def test_a_jam_is_explained_kept_on_the_strip_and_reset(demo: Service, look: Open) -> None:
    page = look(demo)
    open_drawer(page, demo)
    page.get_by_role("button", name="Jam the lever").click()
    expect(page.locator("[data-trouble-done]")).to_have_text("Done: jam the lever.")
    page.locator("[data-step='10']").click()

    expect(page.locator("[data-act]")).to_have_text("Reset")
    fault = demo.snapshot()["fault"]
    expect(state_words(page)).to_have_text(re.compile("^Stopped itself: (the load was too high|it was blocked)"))
    expect(page.locator("[data-state-advice]")).to_contain_text(fault["text"])
    expect(page.locator("[data-state-advice]")).to_contain_text(fault["advice"])
    expect(page.locator("[data-state-advice]")).to_contain_text("Peak torque")
    expect(page.locator("[data-jog=up]")).to_be_disabled()

    page.get_by_role("button", name="At the fault").click()
    expect(page.locator("[data-strip]")).to_have_attribute("data-showing", "frozen")
    expect(page.locator("[data-strip-note]")).to_have_text(re.compile("^Frozen at the fault"))

    page.get_by_role("button", name="Free it").click()
    expect(page.locator("[data-trouble-done]")).to_have_text("Done: free it.")
    before = demo.snapshot()["counts"]
    page.locator("[data-act]").click()
    expect(state_words(page)).to_have_text(re.compile("^Disarmed"))
    assert demo.snapshot()["counts"] == pytest.approx(before, abs=2)
    expect(page.locator("[data-act]")).to_have_text("Arm")


def test_a_cable_pulled_out_is_said_and_comes_back_disarmed(demo: Service, look: Open) -> None:
    page = look(demo)
    open_drawer(page, demo)
    page.get_by_label("Cable out for").fill("2")
    page.get_by_role("button", name="Unplug").click()
    expect(state_words(page)).to_have_text("Offline: the board does not answer")
    expect(page.locator("html")).to_have_attribute("data-stale", "")
    expect(state_words(page)).to_have_text(re.compile("^Disarmed"))
    expect(page.locator("html")).not_to_have_attribute("data-stale", "")


def test_a_trouble_without_a_number_is_refused_in_words(demo: Service, look: Open) -> None:
    page = look(demo)
    open_drawer(page, demo)
    page.get_by_label("Load", exact=True).fill("heavy")
    page.get_by_role("button", name="Set load").click()
    expect(page.locator("[data-troubles] [data-problem]")).to_have_text('Type a number for "Load".')


def test_the_gear_train_turns_with_the_counts(demo: Service, look: Open) -> None:
    page = look(demo)
    open_drawer(page, demo)
    meshes = demo.sheet()["mesh"]
    wheels = page.locator("[data-train-sheet] > g > g > g[transform]")
    expect(wheels).to_have_count(2 * len(meshes))
    expect(page.locator("[data-train-words]")).to_contain_text("To scale")
    before = wheels.first.get_attribute("transform")
    page.locator("[data-step='1']").click()
    expect(wheels.first).not_to_have_attribute("transform", before or "")
