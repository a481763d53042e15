"""The journal: a story with filters, endless, and why it stopped."""

from __future__ import annotations

import csv
import io
import re
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect

from tests.browser.conftest import LAPTOP, PHONE, Open
from tests.browser.service import Service
from tests.browser.test_views import RULES, fits_at_200_percent, settled

pytestmark = pytest.mark.browser


def entries(page: Page) -> list[str]:
    return page.locator("[data-entry] .story > p:first-child").all_inner_texts()


def search(page: Page, what: str, asked: str) -> None:
    """Choose what is searched for, and wait until that is asked for."""
    with page.expect_response(lambda response: asked in response.url and "limit=50" in response.url):
        page.get_by_label("What").select_option(what)


@pytest.fixture(scope="module")
def jammed(demo: Service) -> Service:
    """A servo that has just stopped itself, half a minute of news behind it."""
    demo.make_ready()
    demo.post("servos/vent/moves", {"to_deg": 30.0}, wait_s=20)
    demo.post("servos/vent/moves", {"to_deg": 5.0})
    demo.until(lambda snapshot: abs(snapshot["speed_deg_s"] or 0) > 2)
    demo.trouble("jam")
    demo.state_is("faulted")
    demo.trouble("free")
    return demo


def test_it_reads_as_a_story_newest_first(jammed: Service, look: Open) -> None:
    page = look(jammed, "journal")
    settled(page, "journal")
    expect(page.locator("[data-entry]").nth(4)).to_be_visible()
    told = entries(page)
    assert told.index("Move to 5°, by test") < told.index("Move to 30°, by test")
    done = page.locator("[data-entry]", has_text="Move to 30°").first
    expect(done.locator(".became")).to_have_text(re.compile(r"^Done in \d.* at (29|30)\.\d+°$"))
    stopped = page.locator("[data-entry]", has_text="Move to 5°").first
    expect(stopped.locator(".became")).to_contain_text("Stopped itself")
    expect(page.locator(".day h2").first).to_contain_text(re.compile(r"\d{4}"))


def test_why_it_stopped_is_said_and_drawn(jammed: Service, look: Open) -> None:
    page = look(jammed, "journal")
    settled(page, "journal")
    why = page.locator("[data-last-stop]")
    expect(why).to_contain_text("Drive was removed")
    button = why.get_by_role("button", name="Show the seconds before")
    button.click()
    expect(why.locator("canvas")).to_have_count(3)
    expect(button).to_have_attribute("aria-expanded", "true")
    expect(why.locator("figcaption")).to_contain_text(re.compile(r"before it stopped at \d"))
    assert why.locator("canvas").first.evaluate(
        "canvas => new Uint32Array(canvas.getContext('2d').getImageData(0, 0, canvas.width, canvas.height).data.buffer).some((it) => it)"
    )
    button.click()
    expect(why.locator("canvas")).to_have_count(0)


def test_filters_by_words_kind_and_day(jammed: Service, look: Open) -> None:
    page = look(jammed, "journal")
    settled(page, "journal")
    search(page, "Motion", "kind=move")
    expect(page.locator("[data-entry]:not([data-kind=move], [data-kind=home])")).to_have_count(0)
    expect(page.locator("[data-entry][data-kind=move]").first).to_be_visible()
    page.get_by_label("Words").fill("30°")
    expect(page.locator("[data-entry]", has_not_text="30°")).to_have_count(0)
    page.get_by_label("Words").fill("chimney")
    expect(page.locator("[data-events-note]")).to_have_text("Nothing in the journal is like that.")
    page.get_by_role("button", name="Clear").click()
    expect(page.locator("[data-entry]").nth(4)).to_be_visible()
    page.get_by_label("To", exact=True).fill("2001-01-01")
    expect(page.locator("[data-events-note]")).to_have_text("Nothing in the journal is like that.")


def test_what_happens_now_appears_and_gets_its_result(jammed: Service, look: Open) -> None:
    jammed.make_ready()
    page = look(jammed, "journal")
    settled(page, "journal")
    expect(page.locator("[data-entry]").first).to_be_visible()
    jammed.post("servos/vent/moves", {"to_deg": 22.0, "speed_deg_s": 2.0})
    newest = page.locator("[data-entry]", has_text="Move to 22°")
    expect(newest.locator(".became")).to_have_text("Under way")
    expect(newest.locator(".became")).to_contain_text("Done in")
    assert newest.count() == 1


def test_it_is_saved_as_a_table_of_what_is_searched(jammed: Service, look: Open) -> None:
    page = look(jammed, "journal", **LAPTOP, accept_downloads=True)
    settled(page, "journal")
    search(page, "Motion", "kind=move")
    expect(page.locator("[data-entry][data-kind=move]").first).to_be_visible()
    with page.expect_download() as download:
        page.get_by_role("button", name="Save as a table").click()
    rows = list(csv.DictReader(io.StringIO(Path(download.value.path()).read_text("utf-8"))))
    assert {row["kind"] for row in rows} <= {"move", "home", "turn", "jog"}
    assert len(rows) >= 3


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_with_the_chart_open(jammed: Service, look: Open, scheme: str) -> None:
    page = look(jammed, "journal", **PHONE, color_scheme=scheme)
    settled(page, "journal")
    with page.expect_response(lambda response: "text=removed" in response.url):
        page.get_by_label("Words").fill("removed")
    expect(page.locator("[data-entry]", has_not_text="removed")).to_have_count(0)
    page.get_by_role("button", name="Why did it stop?").first.click()
    expect(page.locator(".trace canvas")).to_have_count(3)
    results = Axe().run(page, options=RULES)
    assert results.violations_count == 0, results.generate_report()


def test_with_large_type_on_a_narrow_screen_nothing_is_wider(jammed: Service, look: Open) -> None:
    page = look(jammed, "journal", viewport={"width": 320, "height": 640})
    settled(page, "journal")
    with page.expect_response(lambda response: "text=removed" in response.url):
        page.get_by_label("Words").fill("removed")
    expect(page.locator("[data-entry]", has_not_text="removed")).to_have_count(0)
    page.get_by_role("button", name="Why did it stop?").first.click()
    expect(page.locator(".trace canvas")).to_have_count(3)
    fits_at_200_percent(page)


def test_what_needs_a_person_is_on_every_view_until_it_is_put_aside(jammed: Service, look: Open) -> None:
    archive = jammed._http.get("backup").content
    jammed._http.put("backup", content=archive, headers={"Content-Type": "application/zip"}).raise_for_status()
    page = look(jammed, "drive")
    settled(page, "drive")
    notices = page.locator("[data-notices]")
    expect(notices).to_contain_text("Restored from a backup")
    results = Axe().run(page, options=RULES)
    assert results.violations_count == 0, results.generate_report()
    notices.get_by_role("button", name="Put aside").click()
    expect(notices).to_be_hidden()
    assert jammed._http.get("notices").json()["items"] == []


def test_the_keyboard_alone_reads_it(jammed: Service, look: Open) -> None:
    page = look(jammed, "journal", **LAPTOP)
    settled(page, "journal")
    expect(page.locator("[data-entry]").first).to_be_visible()
    button = page.locator("[data-last-stop]").get_by_role("button")
    if button.count():
        button.focus()
        page.keyboard.press("Enter")
        expect(page.locator("[data-last-stop] canvas")).to_have_count(3)
    page.get_by_label("Words").focus()
    page.keyboard.type("home mark")
    page.keyboard.press("Enter")
    expect(page.locator("[data-entry]", has_not_text="home mark")).to_have_count(0)


def test_it_goes_on_for_ever_and_back_to_the_newest(jammed: Service, look: Open) -> None:
    for number in range(70):
        jammed.post("servos/vent/stop", {"category": number % 3})
    page = look(jammed, "journal")
    settled(page, "journal")
    search(page, "Stops and faults", "kind=stop")
    expect(page.locator("[data-entry]:not([data-kind=stop], [data-kind=fault])")).to_have_count(0)
    expect(page.locator("[data-entry]").nth(49)).to_be_attached()
    page.evaluate("scrollTo(0, document.documentElement.scrollHeight)")
    expect(page.locator("[data-entry]").nth(70)).to_be_attached()
    expect(page.locator("[data-events-note]")).to_have_text("That is all of it.")
    ids = page.evaluate("[...document.querySelectorAll('[data-entry]')].map((item) => Number(item.dataset.entry))")
    assert ids == sorted(set(ids), reverse=True)
