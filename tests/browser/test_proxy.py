"""The page through a real proxy, with TLS, under a path: in a real Chromium and to the letter over HTTP."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, WebSocket, expect, sync_playwright
from websockets.exceptions import InvalidStatus
from websockets.sync.client import connect

from tests.browser.conftest import ARGUMENTS, CHROMIUM, PHONE
from tests.browser.hands import state_words
from tests.browser.proxied import NAME, Proxied, proxied

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def shed(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Proxied]:
    with proxied(tmp_path_factory.mktemp("shed")) as one:
        yield one


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """A Chromium that finds the name on this machine, as phones find it on theirs."""
    with sync_playwright() as playwright:
        arguments = [*ARGUMENTS, f"--host-resolver-rules=MAP {NAME} 127.0.0.1"]
        one = playwright.chromium.launch(executable_path=CHROMIUM, args=arguments)
        yield one
        one.close()


@pytest.fixture
def context(browser: Browser) -> Iterator[BrowserContext]:
    # The authority of the tests is not installed in this Chromium; the program below checks the certificate itself.
    with browser.new_context(**PHONE, ignore_https_errors=True) as one:
        yield one


def paired(context: BrowserContext, shed: Proxied) -> Page:
    """A phone that was let in by the address of an invitation."""
    offer = shed.command("pair", "--role", "manage")
    assert offer["address"].startswith(f"{shed.address}#")
    page = context.new_page()
    page.goto(offer["address"])
    page.get_by_label("Name of this device").fill("phone")
    page.get_by_role("button", name="Pair", exact=True).click()
    page.get_by_role("button", name="Not now", exact=True).last.click()
    expect(page.locator("html")).not_to_have_attribute("data-stale", "")
    expect(page.locator("[data-pairing-form]")).to_be_hidden()
    return page


def test_the_page_its_files_and_its_socket_all_come_by_the_path(context: BrowserContext, shed: Proxied) -> None:
    asked: list[str] = []
    sockets: list[WebSocket] = []
    errors: list[str] = []
    refused: list[str] = []
    page = paired(context, shed)
    page.on("request", lambda request: asked.append(request.url))
    page.on("websocket", lambda socket: sockets.append(socket))  # noqa: PLW0108 - a bound method of C is none to it
    page.on("pageerror", lambda error: errors.append(str(error)))
    page.on("console", lambda message: errors.append(message.text) if "Security Policy" in message.text else None)
    page.on("response", lambda answer: refused.append(answer.url) if answer.status >= 400 else None)
    page.reload()
    expect(state_words(page)).to_have_text("Disarmed, position unknown")
    for view in ("journal", "sequences", "drive"):
        page.get_by_role("link", name=view.capitalize(), exact=True).click()
        expect(page.locator(f'[data-section="{view}"]')).to_be_visible()
    assert {url for url in asked if not url.startswith(shed.address)} == set()
    # On a busy machine it may have been opened again; the way is always the same.
    assert {socket.url for socket in sockets} == {shed.address.replace("https:", "wss:") + "api/v1/live"}
    assert errors == []
    # It asks whether there is a simulation to show; here there is none.
    assert set(refused) <= {f"{shed.address}api/v1/simulation"}


def test_a_certificate_that_is_not_trusted_is_said_to_bring_less(context: BrowserContext, shed: Proxied) -> None:
    page = paired(context, shed)
    page.get_by_role("link", name="Settings", exact=True).click()
    gains = page.get_by_role("row")
    expect(gains.filter(has_text="home screen")).to_contain_text("needs a certificate that is trusted")
    expect(gains.filter(has_text="read along")).to_contain_text("yes")
    expect(page.locator("[data-https-words]")).to_contain_text("over HTTPS")


def test_the_session_is_a_cookie_that_no_script_and_no_other_site_can_use(
    context: BrowserContext, shed: Proxied
) -> None:
    page = paired(context, shed)
    (cookie,) = context.cookies()
    assert cookie["name"] == f"__Host-geartender-{shed.backend}"
    assert (cookie["secure"], cookie["httpOnly"], cookie["sameSite"], cookie["path"]) == (True, True, "Strict", "/")
    assert page.evaluate("document.cookie") == ""


def test_a_paired_phone_drives_and_stops(context: BrowserContext, shed: Proxied) -> None:
    page = paired(context, shed)
    act = page.locator("[data-act]")
    expect(act).to_have_text("Arm")
    act.click()
    expect(act).to_have_text("Find home")
    act.click()
    page.get_by_role("button", name="Stop").first.click()
    with shed.client(
        Authorization=f"Bearer {shed.command('keys', 'add', 'tests', '--role', 'watch')['key']}"
    ) as client:
        entries = client.get("api/v1/journal", params={"kind": "stop"}).json()["items"]
    assert entries[0]["who"].startswith("phone")


def test_the_certificate_is_checked_and_the_answers_are_for_the_outside(shed: Proxied) -> None:
    key = shed.command("keys", "add", "script", "--role", "drive")["key"]
    with shed.client(Authorization=f"Bearer {key}") as client:
        assert client.get("healthz").headers["strict-transport-security"] == "max-age=31536000"
        assert client.get("api/v1/openapi.json").json()["servers"] == [{"url": "/vent"}]
        assert client.post("api/v1/servos/vent/helm", json={"force": True}).status_code == 200
        assert client.post("api/v1/servos/vent/arm").status_code == 200
        homing = client.post("api/v1/servos/vent/home")
        assert homing.headers["location"].startswith("/vent/api/v1/servos/vent/motions/")
        assert client.get(homing.headers["location"].removeprefix("/vent/")).status_code == 200
        client.post("api/v1/servos/vent/stop")
        refused = client.post("api/v1/servos/vent/moves", json={"to_deg": 9999})
        assert refused.status_code in (409, 422)
        problem = client.get(f"https://{NAME}:{shed.port}{refused.json()['type']}")
        assert (problem.status_code, problem.headers["content-type"]) == (200, "text/html; charset=utf-8")


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "https://evil.example"},
        {"Origin": "http://shed.local"},
        {"Origin": "null"},
        {"Host": "evil.example"},
        {"Host": "127.0.0.1:8350"},
    ],
)
def test_the_door_holds_behind_the_proxy(shed: Proxied, headers: dict[str, str]) -> None:
    with shed.client(**headers) as client:
        answer = client.get("api/v1/servos")
    assert (answer.status_code, answer.json()["type"]) == (403, "/problems/forbidden")


def test_a_foreign_page_gets_no_socket_through_it(shed: Proxied) -> None:
    import socket
    import ssl

    trusted = ssl.create_default_context(cafile=str(shed.folder / "ca.pem"))
    address = shed.address.replace("https:", "wss:") + "api/v1/live"
    with pytest.raises(InvalidStatus) as caught:
        connect(
            address,
            sock=socket.create_connection(("127.0.0.1", shed.port)),
            ssl=trusted,
            origin="https://evil.example",
            proxy=None,
        )  # type: ignore[arg-type]
    assert caught.value.response.status_code == 403


def test_what_a_client_says_about_itself_is_not_believed(shed: Proxied) -> None:
    """The journal names the address that the proxy saw, not the one that the client made up."""
    key = shed.command("keys", "add", "liar", "--role", "watch")["key"]
    wrong = {"Authorization": "Bearer wrong", "X-Forwarded-For": "203.0.113.9", "X-Forwarded-Proto": "http"}
    with shed.client(**wrong) as client:
        assert client.get("api/v1/servos").status_code == 401
    with shed.client(Authorization=f"Bearer {key}") as client:
        told = client.get("api/v1/journal").text
    assert "203.0.113.9" not in told
    assert "203.0.113.9" not in (shed.folder / "said").read_text()
