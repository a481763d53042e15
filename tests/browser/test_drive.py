"""Driving with one thumb: arm, home, move by drag, button, number, key; the speed; a favourite."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import Open
from tests.browser.hands import drag, expect_ready, get_ready, middle, requests_to, ring_turned_by, state_words
from tests.browser.service import Service

pytestmark = pytest.mark.browser


def test_arms_and_finds_home_by_the_one_next_act(demo: Service, look: Open) -> None:
    demo.make_unhomed()
    page = look(demo)
    act = page.locator("[data-act]")

    expect(state_words(page)).to_have_text("Disarmed, position unknown")
    expect(page.locator("[data-drawing-note]")).to_have_text("Where it points is not known until home is found")
    expect(act).to_have_text("Arm")
    act.click()
    expect(act).to_have_text("Find home")
    act.click()
    expect(state_words(page)).to_have_text(re.compile("^Finding home"))
    expect_ready(page)
    expect(act).to_be_hidden()
    assert demo.snapshot()["homed"]


def test_moves_by_dragging_the_dashed_lever(demo: Service, look: Open) -> None:
    page = look(demo)
    get_ready(page, demo)
    moves = requests_to(page, "/moves")

    drag(page, *ring_turned_by(page, 30))
    expect(page.locator("[data-drawing-note]")).to_have_text(re.compile(r"^Lift to go to (39|40|41)\."))
    assert moves == []
    page.mouse.up()

    expect(state_words(page)).to_have_text(re.compile(r"^Moving to \d+\.\d*°, \d+\ss left"))
    expect_ready(page)
    assert demo.snapshot()["angle_deg"] == pytest.approx(moves[0]["to_deg"], abs=0.5)
    assert moves[0]["to_deg"] == pytest.approx(40, abs=1.5)


def test_sliding_off_the_drawing_cancels_the_drag(demo: Service, look: Open) -> None:
    page = look(demo)
    get_ready(page, demo)
    moves = requests_to(page, "/moves")
    ring, target = ring_turned_by(page, 30)

    drag(page, ring, target)
    page.mouse.move(*middle(page.locator("[data-state-words]")), steps=5)
    expect(page.locator("[data-drawing-note]")).to_have_text("Lift here to cancel")
    page.mouse.up()

    expect(page.locator("[data-drawing-note]")).to_have_text("Seen from the output side")
    assert moves == []
    assert demo.snapshot()["state"] == "ready"


def test_a_touch_that_does_not_drag_moves_nothing(demo: Service, look: Open) -> None:
    page = look(demo)
    get_ready(page, demo)
    moves = requests_to(page, "/moves")
    page.mouse.click(*middle(page.locator(".grip-ring")))
    expect(page.locator("[data-drawing-note]")).to_have_text("Seen from the output side")
    assert moves == []


@pytest.mark.parametrize(("step", "deg"), [("10", 10.0), ("-1", -1.0), ("count", None)])
def test_moves_by_a_button(demo: Service, look: Open, step: str, deg: float | None) -> None:
    page = look(demo)
    get_ready(page, demo)
    before = demo.snapshot()
    wanted = before["angle_deg"] + (before["deg_per_count"] if deg is None else deg)
    with page.expect_response(lambda response: response.url.endswith("/moves")) as answer:
        page.locator(f"[data-step='{step}']").click()
    assert answer.value.ok
    assert answer.value.request.post_data_json["to_deg"] == pytest.approx(wanted, abs=0.2)
    expect_ready(page)


def test_two_steps_in_a_row_add_up(demo: Service, look: Open) -> None:
    page = look(demo)
    get_ready(page, demo)
    moves = requests_to(page, "/moves")
    page.locator("[data-step='10']").click()
    expect(state_words(page)).to_have_text(re.compile("^Moving to"))
    page.locator("[data-step='10']").click()
    expect_ready(page)
    assert moves[-1]["to_deg"] == pytest.approx(30, abs=1)


def test_moves_by_a_number_written_with_a_comma(demo: Service, look: Open) -> None:
    page = look(demo)
    get_ready(page, demo)
    page.get_by_label("Move to angle").fill("22,5")
    page.get_by_role("button", name="Go", exact=True).click()
    expect(state_words(page)).to_have_text(re.compile(r"^Ready at 22\.[45]"))


@pytest.mark.parametrize(
    ("typed", "said"),
    [("400", re.compile("outside the travel")), ("up", re.compile("Type an angle in degrees"))],
)
def test_a_wrong_number_is_explained_where_it_was_typed(
    demo: Service, look: Open, typed: str, said: re.Pattern[str]
) -> None:
    page = look(demo)
    get_ready(page, demo)
    moves = requests_to(page, "/moves")
    page.get_by_label("Move to angle").fill(typed)
    page.get_by_label("Move to angle").press("Enter")
    expect(page.locator("[data-goto] [data-problem]")).to_have_text(said)
    assert moves == []


def test_moves_by_keys_alone(demo: Service, look: Open) -> None:
    page = look(demo)
    get_ready(page, demo)
    lever = page.get_by_role("slider", name="Target angle of the lever")
    lever.focus()
    lever.press("PageUp")
    lever.press("ArrowUp")
    expect(page.locator("[data-drawing-note]")).to_have_text(re.compile(r"^Enter goes to (20|21)\."))
    lever.press("Enter")
    expect(state_words(page)).to_have_text(re.compile("^Moving to"))
    expect_ready(page)
    assert demo.snapshot()["angle_deg"] == pytest.approx(21, abs=1)


def test_the_speed_slider_works_in_mid_move(demo: Service, look: Open) -> None:
    page = look(demo)
    get_ready(page, demo)
    page.get_by_label("Move to angle").fill("60")
    page.get_by_label("Move to angle").press("Enter")
    expect(state_words(page)).to_have_text(re.compile("^Moving to"))
    page.get_by_role("slider", name="Speed").fill("40")
    demo.until(lambda snapshot: snapshot["override"] == pytest.approx(0.4))
    assert demo.snapshot()["state"] == "moving"
    expect(page.locator("[data-speed-words]")).to_have_text(re.compile("^40 %"))


def test_a_favourite_is_kept_used_removed_and_brought_back(demo: Service, look: Open) -> None:
    page = look(demo)
    get_ready(page, demo)
    page.get_by_label("Move to angle").fill("15")
    page.get_by_role("button", name="Keep as favourite").click()
    page.get_by_label("Name of this favourite").fill('Ajar <b>"morning"</b>')
    page.get_by_role("button", name="Keep", exact=True).click()
    page.reload()
    expect_ready(page)
    favourite = page.get_by_role("button", name='Ajar <b>"morning"</b> 15')
    favourite.first.click()
    expect(state_words(page)).to_have_text(re.compile(r"^Ready at 1[45]\."))
    page.get_by_role("button", name='Remove Ajar <b>"morning"</b>').click()
    expect(favourite).to_have_count(0)
    page.get_by_role("button", name="Undo").click()
    expect(favourite).to_have_count(1)


def test_disarm_takes_drive_away_and_offers_to_arm(demo: Service, look: Open) -> None:
    page = look(demo)
    get_ready(page, demo)
    page.get_by_role("button", name="Disarm").click()
    expect(state_words(page)).to_have_text(re.compile("^Disarmed at"))
    expect(page.locator("[data-act]")).to_have_text("Arm")
    expect(page.locator("[data-step='10']")).to_be_disabled()
