"""Phones that are not let in yet, are let in, and are let in no longer; over plain HTTP, as in a house."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Locator, Page, expect

from tests.browser.conftest import PHONE, Open, running_demo
from tests.browser.hands import expect_ready, get_ready, requests_to
from tests.browser.service import Service
from tests.browser.test_views import RULES, fits_at_200_percent

pytestmark = pytest.mark.browser

SIZES = [{"width": 390, "height": 844}, {"width": 1280, "height": 800}]
NARROW = {"width": 320, "height": 640}
PASSPHRASE = "the vent sticks in May"
NOT_LET_IN = "Not let in, so Stop is refused: use the hardware switch"
TABS_AT_MOST = 80
QUIET_MS = 1500


@pytest.fixture(scope="module")
def shed(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    """A service that can be reached from the network, so phones have to be paired."""
    with running_demo(tmp_path_factory.mktemp("shed"), "--host", "0.0.0.0") as service:
        yield service


def button(page: Page, name: str) -> Locator:
    return page.get_by_role("button", name=name, exact=True)


def paired(shed: Service, look: Open, role: str, name: str, view: str = "drive") -> Page:
    """A phone that came by a QR code and was let in."""
    _, _, fragment = shed.invite(role)["address"].partition("#")
    page = look(shed, f"{view}#{fragment}")
    page.get_by_label("Name of this device").fill(name)
    button(page, "Pair").click()
    if role == "manage":
        page.get_by_label("Passphrase", exact=True).fill(PASSPHRASE)
        button(page, "Set it").click()
    expect(page.locator("[data-pairing]")).to_be_hidden()
    expect(page.locator("html")).not_to_have_attribute("data-stale", "")
    return page


def axe_finds_nothing_anywhere(page: Page) -> None:
    """Light and dark, on a phone and on a laptop; and with letters twice as large on a narrow screen nothing is too wide."""
    for size in SIZES:
        page.set_viewport_size(size)  # type: ignore[arg-type]
        for scheme in ("light", "dark"):
            page.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]
            results = Axe().run(page, options=RULES)
            assert results.violations_count == 0, (size, scheme, results.generate_report())
    page.set_viewport_size(NARROW)  # type: ignore[arg-type]
    fits_at_200_percent(page)


def test_whoever_was_not_let_in_sees_how_to_be_and_nothing_else(shed: Service, look: Open) -> None:
    page = look(shed, "settings")
    expect(page.get_by_role("heading", name="Pair this phone")).to_be_focused()
    expect(page.locator("[data-stop-note]")).to_have_text(NOT_LET_IN)
    for unseen in (".views", "[data-sheet]", "[data-section=settings]"):
        expect(page.locator(unseen)).to_be_hidden()
    tries = requests_to(page, "/pairing")
    problem = page.locator("[data-pairing-form] [data-problem]")
    page.get_by_label("Code", exact=True).fill("12 34")
    button(page, "Pair").click()
    expect(problem).to_have_text("Type the six digits of the code.")
    assert tries == []
    right = shed.invite("drive")["code"]
    page.get_by_label("Code", exact=True).fill(f"{(int(right) + 1) % 1_000_000:06}")
    button(page, "Pair").click()
    expect(problem).to_contain_text("geartender pair")
    expect(page.get_by_label("Code", exact=True)).to_be_focused()
    axe_finds_nothing_anywhere(page)

    page.get_by_label("Code", exact=True).fill(f"{right[:3]} {right[3:]}")
    page.get_by_label("Name of this device").fill("hall tablet")
    page.get_by_label("Name of this device").press("Enter")
    expect(page.locator("[data-me]")).to_have_text(re.compile("^Paired, and let in to drive"))
    expect(page.get_by_label("Name others see")).to_have_value("hall tablet")
    expect(page.locator("[data-managing]")).to_be_hidden()
    expect(page.locator("[data-https-gains]")).to_contain_text("needs HTTPS")
    page.get_by_label("Name others see").fill("porch tablet")
    page.get_by_label("Name others see").press("Tab")
    expect(page.locator("[data-label-hint]")).to_have_text("Others see this name now.")
    assert "porch tablet" in shed.let_in()


def test_an_invitation_is_good_once_and_leaves_the_address_at_once(shed: Service, look: Open) -> None:
    fragment = shed.invite("drive")["address"].partition("#")[2]
    for phone in ("first", "second"):
        page = look(shed, f"drive#{fragment}")
        expect(page.locator("[data-pairing-scanned]")).to_be_visible()
        assert "#" not in page.url
        page.get_by_label("Name of this device").fill(phone)
        button(page, "Pair").click()
        if phone == "first":
            expect(page.locator("[data-servo-name]")).to_have_text("Ridge vent")
    expect(page.locator("[data-pairing-form] [data-problem]")).to_contain_text("used up or older than ten minutes")
    expect(page.get_by_label("Code", exact=True)).to_be_visible()
    assert "second" not in shed.let_in()


def test_whoever_may_only_watch_is_told_so_and_can_stop(shed: Service, look: Open) -> None:
    page = paired(shed, look, "watch", "the neighbour's phone")
    shed.make_ready()
    expect(page.locator("[data-act-hint]")).to_have_text(
        "You are let in to watch: you can stop and disarm it, not move it."
    )
    expect(page.locator(".grip")).to_have_attribute("aria-disabled", "true")
    for control in (
        page.locator("[data-step='1']"),
        page.locator("[data-jog=up]"),
        page.locator("[data-speed-slider]"),
    ):
        expect(control).to_be_disabled()
    page.locator("[data-stop]").click()
    shed.state_is("disarmed")
    page.get_by_role("link", name="Sequences", exact=True).click()
    expect(page.locator("[data-section=sequences] .role-note")).to_contain_text("you are let in to watch")
    expect(button(page, "New entry")).to_be_disabled()
    shed.give_role("the neighbour's phone", "drive")
    expect(button(page, "New entry")).to_be_enabled()


def test_a_revoked_phone_is_shut_out_at_once_and_looks_it(shed: Service, look: Open) -> None:
    page = paired(shed, look, "drive", "lost phone")
    shed.make_ready()
    expect_ready(page)
    shed.revoke("lost phone")
    expect(page.locator("html")).to_have_attribute("data-stale", "", timeout=2000)
    expect(page.locator("[data-state-words]")).to_have_text("Let in no longer")
    expect(page.locator("[data-age]")).to_have_text(re.compile("^Last news .* ago$"))
    expect(page.locator("[data-pairing-why]")).to_contain_text("it was revoked")
    expect(page.locator("[data-stop-note]")).to_have_text(NOT_LET_IN)
    expect(page.locator(".views")).to_be_hidden()
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.wait_for_timeout(QUIET_MS)
    assert asked == []
    page.locator("[data-stop]").click()
    expect(page.locator("[data-stop-note]")).to_have_text(NOT_LET_IN)
    assert shed.snapshot()["state"] == "ready"


def tab_to(page: Page, wanted: Locator) -> None:
    for _ in range(TABS_AT_MOST):
        page.keyboard.press("Tab")
        if wanted.evaluate("node => node === document.activeElement"):
            return
    raise AssertionError(f"{wanted} is not reached by Tab")


def test_who_manages_lets_others_in_and_shuts_them_out(shed: Service, look: Open) -> None:
    page = paired(shed, look, "manage", "owner's phone", "settings")
    button(page, "Show a code").click()
    expect(page.locator("[data-qr] svg")).to_be_visible()
    code = page.locator("[data-invite-code]").inner_text()
    expect(page.locator("[data-invite-time]")).to_have_text(re.compile(r"^(9:5\d|10:00)$"))
    axe_finds_nothing_anywhere(page)

    page.set_viewport_size(PHONE["viewport"])
    other = look(shed, "drive")
    other.get_by_label("Code", exact=True).fill(code)
    other.get_by_label("Name of this device").fill("guest")
    button(other, "Pair").click()
    expect(other.locator("[data-pairing-form]")).to_be_hidden()
    expect(page.locator("[data-invite-words]")).to_have_text("guest is let in.")
    expect(page.locator("[data-qr] svg")).to_have_count(0)
    get_ready(other, shed)
    other.locator("[data-step='1']").click()
    guest = page.get_by_role("listitem").filter(has_text="guest")
    expect(guest.locator("[data-helm]")).to_have_text("holds the helm of vent")

    page.get_by_role("button", name="Revoke guest").click()
    dialog = page.get_by_role("dialog")
    expect(dialog).to_contain_text("what it moves stops now")
    button(page, "Keep it").click()
    assert "guest" in shed.let_in()
    page.get_by_role("button", name="Revoke guest").click()
    button(page, "Revoke it").click()
    expect(guest).to_have_count(0)
    expect(other.locator("[data-pairing-why]")).to_contain_text("no longer")

    for other_manager in [
        name for name, one in shed.let_in().items() if one["role"] == "manage" and name != "owner's phone"
    ]:
        shed.revoke(other_manager)
    button(page, "Forget this device").click()
    button(page, "Forget it").click()
    expect(dialog).to_contain_text("geartender pair --role manage")
    button(page, "Leave it").click()
    assert "owner's phone" in shed.let_in()


def test_the_keyboard_alone_makes_a_key_that_is_shown_once(shed: Service, look: Open) -> None:
    page = paired(shed, look, "manage", "laptop", "settings")
    tab_to(page, page.get_by_label("Name of the key"))
    page.keyboard.type("weather script")
    tab_to(page, button(page, "Make the key"))
    page.keyboard.press("Enter")
    key = page.locator("[data-key]")
    expect(key).to_be_focused()
    assert len(key.input_value()) >= 32
    expect(button(page, "Copy")).to_be_hidden()
    page.set_viewport_size(NARROW)  # type: ignore[arg-type]
    fits_at_200_percent(page)
    tab_to(page, button(page, "I have it"))
    page.keyboard.press("Enter")
    expect(key).to_have_value("")
    expect(page.get_by_role("listitem").filter(has_text="weather script")).to_contain_text("never used")


def test_what_guards_the_machine_asks_for_the_passphrase_and_goes_on(look: Open, tmp_path: Path) -> None:
    """A proof does not outlast the service, so one that was started again asks for it."""
    with running_demo(tmp_path, "--host", "0.0.0.0") as before:
        page = paired(before, look, "manage", "owner's phone", "settings")
        port = before.host_port()[1]
    with running_demo(tmp_path, "--host", "0.0.0.0", port=port):
        expect(page.locator("html")).not_to_have_attribute("data-stale", "")
        page.get_by_label("It may").first.select_option("manage")
        button(page, "Show a code").click()
        dialog = page.get_by_role("dialog")
        expect(dialog.get_by_label("Passphrase")).to_be_focused()
        dialog.get_by_label("Passphrase").fill("something else")
        dialog.get_by_label("Passphrase").press("Enter")
        expect(dialog.locator("[data-problem]")).to_have_text("That is not your passphrase.")
        page.set_viewport_size(NARROW)  # type: ignore[arg-type]
        fits_at_200_percent(page)
        expect(dialog).to_be_in_viewport(ratio=1)
        expect(page.locator("[data-stop]")).to_be_in_viewport(ratio=1)
        dialog.get_by_label("Passphrase").fill(PASSPHRASE)
        button(page, "Go on").click()
        expect(page.locator("[data-invite-words]")).to_contain_text("let in to manage")
