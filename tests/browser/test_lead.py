"""Who leads, in the Drive view: shown where there is a choice, handed over and taken back by a button."""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from tests.browser.conftest import PHONE, Open
from tests.browser.hands import get_ready, state_words
from tests.browser.service import Service
from tests.browser.test_views import RULES

pytestmark = pytest.mark.browser


@pytest.fixture
def pulsed(demo: Service) -> Iterator[Service]:
    """The demo with a pulse input, and the sheet put back after."""
    before = demo.sheet()
    demo.post("servos/vent/disarm")
    demo.put_sheet({**before, "pulse": {"enabled": True}})
    yield demo
    demo.trouble("pulse off")
    demo.post("servos/vent/stop", {"category": 0})
    demo.state_is("disarmed")
    demo.put_sheet(before)


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_lead_goes_to_the_pulse_and_back_by_a_button(pulsed: Service, look: Open, scheme: str) -> None:
    page = look(pulsed, **PHONE, color_scheme=scheme)
    get_ready(page, pulsed)
    lead = page.locator("[data-lead]")
    expect(lead).to_be_hidden()
    pulsed.trouble("pulse 1400")
    expect(lead).to_contain_text("A pulse of 1400\u202fµs comes in.")
    results = Axe().run(page, options=RULES)
    assert results.violations_count == 0, results.generate_report()
    page.get_by_role("button", name="Let the pulse lead").click()
    expect(lead).to_contain_text("The pulse leads: 1400\u202fµs")
    expect(state_words(page)).to_have_text(re.compile("^Ready at 30"))
    pulsed.trouble("pulse 1800")
    expect(lead).to_contain_text("1800\u202fµs")
    expect(state_words(page)).to_have_text(re.compile("^Moving"))
    page.get_by_role("button", name="Take the lead").click()
    expect(lead).to_contain_text("A pulse of 1800\u202fµs comes in.")
    assert pulsed.snapshot()["source"] == "host"
    pulsed.trouble("pulse off")
    expect(lead).to_be_hidden()
