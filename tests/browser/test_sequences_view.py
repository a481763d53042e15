"""Sequences made, shown, run and timed in the page: with a thumb, with a keyboard, with somebody else saving in between."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Locator, Page, expect

from tests.browser.conftest import LAPTOP, PHONE, Open
from tests.browser.hands import middle
from tests.browser.service import Service
from tests.browser.test_views import RULES, fits_at_200_percent

pytestmark = pytest.mark.browser


@pytest.fixture(autouse=True)
def _empty(demo: Service) -> Iterator[None]:
    """No sequence and no entry is stored before and after a test."""
    demo.clear_sequences()
    yield
    demo.clear_sequences()


def editor(page: Page) -> Locator:
    return page.locator("[data-editor]")


def card(page: Page, place: str) -> Locator:
    return page.locator(f"[data-card='{place}']")


def titles(page: Page) -> list[str]:
    return page.locator("[data-cards] .card-title").all_inner_texts()


def field(scope: Locator, label: str) -> Locator:
    return scope.get_by_label(label, exact=True).first


def opened(demo: Service, look: Open, **options: object) -> Page:
    page = look(demo, "sequences", **options)
    expect(page.locator("[data-stored-empty]")).to_be_visible()
    return page


def test_with_one_thumb_from_nothing_to_a_run(demo: Service, look: Open) -> None:
    page = opened(demo, look)
    demo.make_ready()
    page.get_by_role("button", name="New sequence").tap()
    field(editor(page), "Name").fill("Air at noon")
    page.get_by_role("button", name="Add where it is now").tap()
    expect(card(page, "steps[0]").locator(".card-title")).to_contain_text("Move to ")
    page.get_by_role("button", name="Add step").tap()
    field(card(page, "steps[1]"), "To").fill("14")
    page.locator("[data-add=steps]").select_option("wait")
    page.get_by_role("button", name="Add step").tap()
    field(card(page, "steps[2]"), "For").fill("1,5")
    page.get_by_role("button", name="Move up step 3").tap()
    assert titles(page)[1:] == ["Wait 1.5 s", "Move to 14°"]
    expect(page.locator("[data-plan-words]")).to_contain_text("in 3 steps")
    expect(page.locator("[data-preview] svg")).to_have_count(2)
    page.get_by_role("button", name="Save", exact=True).tap()
    expect(page.locator("[data-status]")).to_have_text("Saved.")
    assert demo.sequence("air-at-noon")["steps"][2] == {"do": "move", "to_deg": 14}
    page.get_by_role("button", name="Run", exact=True).tap()
    expect(page.locator("[data-run-words]")).to_contain_text("air-at-noon: running, step ")
    expect(page.locator("[data-preview] .dashes").first).to_have_attribute("visibility", "visible")
    expect(page.locator("[data-run-words]")).to_contain_text("air-at-noon: done")
    assert abs(demo.snapshot()["angle_deg"] - 14) < 0.5


def test_a_card_is_dragged_by_its_handle(demo: Service, look: Open) -> None:
    demo.put_sequence("three", {"steps": [{"do": "wait", "for_s": number} for number in (1, 2, 3)]})
    page = look(demo, "sequences", **LAPTOP)
    page.get_by_role("button", name="three", exact=True).click()
    handle = card(page, "steps[0]").locator(".handle")
    handle.scroll_into_view_if_needed()
    page.mouse.move(*middle(handle))
    page.mouse.down()
    x, y = middle(card(page, "steps[2]"))
    page.mouse.move(x, y + 10, steps=8)
    page.mouse.up()
    assert titles(page) == ["Wait 2 s", "Wait 3 s", "Wait 1 s"]
    page.get_by_role("button", name="Undo").click()
    assert titles(page) == ["Wait 1 s", "Wait 2 s", "Wait 3 s"]


def test_with_a_keyboard_alone(demo: Service, look: Open) -> None:
    page = opened(demo, look, **LAPTOP)
    page.get_by_role("button", name="New sequence").focus()
    page.keyboard.press("Enter")
    expect(page.locator("[data-editor-title]")).to_be_focused()
    field(editor(page), "Name").focus()
    page.keyboard.type("nod")
    page.locator("[data-add-step=steps]").focus()
    page.keyboard.press("Enter")
    expect(card(page, "steps[0]").locator("select").first).to_be_focused()
    page.locator("[data-add-step=steps]").focus()
    page.keyboard.press("Enter")
    field(card(page, "steps[1]"), "To").focus()
    page.keyboard.press("Control+a")
    page.keyboard.type("7")
    down = page.get_by_role("button", name="Move up step 2")
    down.focus()
    page.keyboard.press("Enter")
    assert titles(page) == ["Move to 7°", "Move to 0°"]
    expect(card(page, "steps[0]").get_by_role("button", name="Move down step 1")).to_be_focused()
    page.get_by_role("button", name="Remove step 2").focus()
    page.keyboard.press("Enter")
    expect(page.locator("[data-add=steps]")).to_be_focused()
    page.get_by_role("button", name="Save", exact=True).focus()
    page.keyboard.press("Enter")
    expect(page.locator("[data-status]")).to_have_text("Saved.")
    assert demo.sequence("nod") == {"steps": [{"do": "move", "to_deg": 7}]}


def test_everything_that_a_sequence_can_say_is_said_in_the_page(demo: Service, look: Open) -> None:
    demo.put_sequence("shut", {"steps": [{"do": "move", "to_deg": 0}]})
    demo.put_sequence("mine", {"steps": [{"do": "move", "to_deg": 20}, {"do": "check", "torque_below_nm": 2}]})
    page = look(demo, "sequences")
    page.get_by_role("button", name="mine", exact=True).click()
    field(editor(page), "If the servo stops itself").select_option("run shut")
    move = card(page, "steps[0]")
    move.get_by_text("More limits of this step").click()
    field(move, "Highest torque").fill("0,9")
    field(move, "Highest acceleration").fill("5")
    field(move, "Highest jerk").fill("50")
    check = card(page, "steps[1]")
    field(check, "Goal").select_option("Angle between two")
    field(check, "From").fill("19")
    field(check, "Up to").fill("21")
    field(check, "If it does not hold").select_option("run shut")
    expect(page.locator("[data-plan-words]")).to_contain_text("in 2 steps")
    page.get_by_role("button", name="Save", exact=True).click()
    expect(page.locator("[data-status]")).to_have_text("Saved.")
    assert demo.sequence("mine") == {
        "steps": [
            {"do": "move", "to_deg": 20, "torque_nm": 0.9, "accel_deg_s2": 5, "jerk_deg_s3": 50},
            {"do": "check", "angle_within_deg": [19, 21], "otherwise": {"run": "shut"}},
        ],
        "on_fault": {"run": "shut"},
    }
    page.reload()
    expect(field(card(page, "steps[0]"), "Highest torque")).to_have_value("0.9")
    field(card(page, "steps[1]"), "Goal").select_option("Angle off its target by less than")
    expect(card(page, "steps[1]").get_by_label("From")).to_have_count(0)


def test_a_step_that_cannot_be_done_is_marked_where_it_stands(demo: Service, look: Open) -> None:
    inner = {"do": "repeat", "times": 2, "steps": [{"do": "move", "to_deg": 20}]}
    demo.put_sequence("sweep", {"steps": [inner]})
    page = look(demo, "sequences")
    page.get_by_role("button", name="sweep", exact=True).click()
    step = card(page, "steps[0].steps[0]")
    field(step, "To").fill("400")
    expect(step.locator(".mistake")).to_contain_text("lies outside the travel")
    page.get_by_role("button", name="Save", exact=True).click()
    expect(page.locator("[data-status]")).to_contain_text("see the steps that are marked")
    field(step, "To").fill("40")
    expect(step.locator(".mistake")).to_be_hidden()


def test_somebody_else_saves_first(demo: Service, look: Open) -> None:
    demo.put_sequence("nod", {"steps": [{"do": "wait", "for_s": 1}]})
    page = look(demo, "sequences")
    page.get_by_role("button", name="nod", exact=True).click()
    field(card(page, "steps[0]"), "For").fill("5")
    demo.put_sequence("nod", {"steps": [{"do": "wait", "for_s": 9}]})
    page.get_by_role("button", name="Save", exact=True).click()
    expect(page.locator("dialog[open]")).to_contain_text("Another one is stored under this name")
    page.get_by_role("button", name="Take theirs").click()
    expect(field(card(page, "steps[0]"), "For")).to_have_value("9")
    page.get_by_role("button", name="Undo").click()
    expect(field(card(page, "steps[0]"), "For")).to_have_value("5")
    page.get_by_role("button", name="Save", exact=True).click()
    expect(page.locator("[data-status]")).to_have_text("Saved.")
    assert demo.sequence("nod")["steps"][0]["for_s"] == 5


def test_a_draft_survives_a_reload_and_goes_out_and_in_as_a_file(demo: Service, look: Open, tmp_path: Path) -> None:
    page = opened(demo, look)
    page.get_by_text("Ready patterns").click()
    expect(page.locator("[data-patterns] li")).to_have_count(12)
    page.get_by_role("button", name="shake-off-dew").click()
    page.reload()
    expect(page.locator("[data-editor-title]")).to_have_text("shake-off-dew")
    with page.expect_download() as download:
        page.get_by_role("button", name="Download").click()
    file = tmp_path / "mine.json"
    download.value.save_as(file)
    assert json.loads(file.read_text())["steps"][1]["do"] == "repeat"
    page.get_by_role("button", name="Leave", exact=True).click()
    page.locator("[data-sequence-file]").set_input_files(file)
    expect(page.locator("[data-editor-title]")).to_have_text("mine")


def test_every_pattern_can_be_done_by_this_servo(demo: Service, look: Open) -> None:
    page = opened(demo, look)
    page.get_by_text("Ready patterns").click()
    for name in page.locator("[data-patterns] .stored-name").all_inner_texts():
        page.locator("[data-patterns]").get_by_role("button", name=name, exact=True).click()
        expect(page.locator("[data-editor-title]")).to_have_text(name)
        page.get_by_role("button", name="Save", exact=True).click()
        expect(page.locator("[data-status]")).to_have_text("Saved.")


def test_hold_go_on_and_end_a_run(demo: Service, look: Open) -> None:
    demo.put_sequence("long", {"steps": [{"do": "move", "to_deg": 12}, {"do": "wait", "for_s": 600}]})
    page = look(demo, "sequences")
    get_ready_for_runs(page, demo)
    page.get_by_role("button", name="Run long").click()
    expect(page.locator("[data-run-words]")).to_contain_text("long: running, step 2 of 2: wait")
    page.get_by_role("button", name="Hold", exact=True).click()
    expect(page.locator("[data-run-words]")).to_contain_text("long: held")
    page.get_by_role("button", name="Go on").click()
    expect(page.locator("[data-run-words]")).to_contain_text("long: running")
    page.reload()
    expect(page.locator("[data-run-words]")).to_contain_text("long: running")
    page.get_by_role("button", name="End the run").click()
    expect(page.locator("[data-run-words]")).to_contain_text("long: stopped")


def test_stop_wins_over_a_run(demo: Service, look: Open) -> None:
    demo.put_sequence("long", {"steps": [{"do": "wait", "for_s": 600}]})
    page = look(demo, "sequences")
    get_ready_for_runs(page, demo)
    page.get_by_role("button", name="Run long").click()
    expect(page.locator("[data-run-words]")).to_contain_text("long: running")
    page.locator("[data-stop]").click()
    expect(page.locator("[data-run-words]")).to_contain_text(re.compile("long: stopped.*stopped by"))


def get_ready_for_runs(page: Page, demo: Service) -> None:
    expect(page.locator("html")).not_to_have_attribute("data-stale", "")
    demo.make_ready()


def test_the_timetable_by_the_sun(demo: Service, look: Open) -> None:
    demo.put_sequence("close", {"steps": [{"do": "move", "to_deg": 0}]})
    page = look(demo, "sequences")
    expect(page.locator("[data-stored] li")).to_have_count(1)
    page.get_by_role("button", name="New entry").click()
    form = page.locator("[data-entry-form]")
    form.get_by_label("Name of the entry").fill("Dusk")
    form.get_by_label("When").select_option("set")
    form.get_by_label("Minutes after it, negative before").fill("-30")
    form.get_by_label("Time zone").fill("Asia/Tokyo")
    form.get_by_label("What it is for").fill("Keeps the warmth in.")
    page.get_by_role("button", name="Save entry").click()
    row = page.locator("[data-entries] li")
    expect(row).to_contain_text("close, next 20")
    expect(page.locator("[data-day] .slot")).to_have_count(1)
    expect(page.locator("[data-day] .daylight").first).to_be_attached()
    expect(page.locator("[data-day] figcaption")).to_contain_text("dusk at ")
    assert demo.entry("dusk") == {
        "sequence": "close",
        "busy": "skip",
        "sun": "set",
        "offset_min": -30,
        "missed": "skip",
        "zone": "Asia/Tokyo",
        "note": "Keeps the warmth in.",
    }
    page.get_by_label("dusk is on").uncheck()
    expect(row).to_contain_text("close, never")
    page.get_by_role("button", name="dusk", exact=True).click()
    form.get_by_label("When").select_option("cron")
    form.get_by_label("Minute, hour, day, month, weekday").fill("99 * * * *")
    page.get_by_role("button", name="Save entry").click()
    expect(page.locator("[data-timetable] > [data-problem]")).to_contain_text("cannot be read, or never comes")
    page.get_by_role("button", name="Delete dusk").click()
    page.get_by_role("button", name="Delete it").click()
    expect(row).to_have_count(0)


@pytest.mark.parametrize("device", [PHONE, LAPTOP], ids=["phone", "laptop"])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_in_the_editor(demo: Service, look: Open, scheme: str, device: dict[str, object]) -> None:
    filled(demo)
    page = look(demo, "sequences", **device, color_scheme=scheme)
    fill_the_view(page)
    results = Axe().run(page, options=RULES)
    assert results.violations_count == 0, results.generate_report()


def test_large_type_on_a_small_screen_fits(demo: Service, look: Open) -> None:
    filled(demo)
    page = look(demo, "sequences", **{**PHONE, "viewport": {"width": 320, "height": 640}})
    fill_the_view(page)
    fits_at_200_percent(page)


def filled(demo: Service) -> None:
    check = {"do": "check", "torque_below_nm": 1, "otherwise": "skip"}
    steps = [{"do": "move", "to_deg": 20}, {"do": "repeat", "times": 3, "steps": [{"do": "move", "by_deg": 1}, check]}]
    demo.put_sequence("a-name-that-is-as-long-as-names-may-be", {"note": "Everything at once.", "steps": steps})
    demo.put_entry("dawn", {"sequence": "a-name-that-is-as-long-as-names-may-be", "cron": "0 6 * * *"})


def fill_the_view(page: Page) -> None:
    page.locator("[data-stored] .stored-name").click()
    expect(page.locator("[data-plan-words]")).to_be_visible()
    page.get_by_role("button", name="dawn", exact=True).click()
    expect(page.get_by_role("button", name="Save entry")).to_be_visible()
