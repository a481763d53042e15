"""A real Chromium, a real demo service, and phones that look at it."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, expect, sync_playwright

from geartender.cli.machine import FILE as MACHINE_FILE
from tests.browser.service import Service

COMMAND = [str(Path(sys.executable).with_name("geartender")), "demo"]
CHROMIUM = "/usr/bin/chromium"
ARGUMENTS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--host-resolver-rules=MAP *.local 127.0.0.1",
]
PHONE: dict[str, Any] = {
    "viewport": {"width": 390, "height": 844},
    "device_scale_factor": 2,
    "is_mobile": True,
    "has_touch": True,
}
LAPTOP: dict[str, Any] = {"viewport": {"width": 1280, "height": 800}}
PATIENCE_MS = 15_000
STOPPING_S = 10

# Where it runs as root, Chromium would put itself before others again: then without the right to.
NEVER_FIRST = "setpriv --bounding-set -sys_nice --inh-caps -sys_nice"
BEHIND_OTHERS = f"{NEVER_FIRST} nice -n 10" if os.geteuid() == 0 else "nice -n 10"

# It is started in a session of its own, and the kernel may weigh sessions before it looks at niceness within one.
SESSION_BEHIND = "echo 10 2> /dev/null > /proc/self/autogroup || true"

Open = Callable[..., Page]


@pytest.fixture(scope="session", autouse=True)
def _patience() -> None:
    expect.set_options(timeout=PATIENCE_MS)


@pytest.fixture(scope="module")
def chromium(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Browser]:
    """Chromium behind everything else: a service that is kept waiting stops its servo, and rightly so.

    For a module and no longer: while it is there, an event loop runs in this thread, and other tests need their own.
    """
    if not Path(CHROMIUM).exists():
        pytest.skip("Chromium is not installed")
    patient = tmp_path_factory.mktemp("chromium") / "chromium"
    patient.write_text(f'#!/bin/sh\n{SESSION_BEHIND}\nexec {BEHIND_OTHERS} {CHROMIUM} "$@"\n')
    patient.chmod(0o755)
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=patient, args=ARGUMENTS)
        yield browser
        browser.close()


def put_before_others(pid: int) -> None:
    """The demo stands for hardware that keeps its own time; where we may, it goes before what else the machine does."""
    with suppress(PermissionError):
        os.setpriority(os.PRIO_PROCESS, pid, -10)


@contextmanager
def running_demo(data: Path, *options: str, port: int = 0) -> Iterator[Service]:
    """A demo of its own, on a free port unless one is given: the address is the first thing it prints."""
    with (data / "stderr").open("w") as log:
        process = subprocess.Popen(
            [*COMMAND, "--port", str(port), "--data", str(data), *options],
            stdout=subprocess.PIPE,
            stderr=log,
            text=True,
        )
        put_before_others(process.pid)
        assert process.stdout is not None
        address = process.stdout.readline().strip()
        assert address, (data / "stderr").read_text()
        try:
            left = json.loads((data / MACHINE_FILE).read_text())
            with Service(address, process, left["key"]) as service:
                yield service
        finally:
            process.terminate()
            try:
                process.wait(STOPPING_S)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()
            process.stdout.close()


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    """One service for the tests of a module."""
    with running_demo(tmp_path_factory.mktemp("demo")) as service:
        yield service


@pytest.fixture
def own_demo(tmp_path: Path) -> Iterator[Service]:
    """A service that the test may kill."""
    with running_demo(tmp_path) as service:
        yield service


@pytest.fixture
def look(chromium: Browser) -> Iterator[Open]:
    """Open a view in a browser of its own: `look(service, "drive", **context options)`. Any error on the page fails."""
    errors: list[str] = []
    contexts = []

    def open_page(
        service: Service, view: str = "drive", /, *, prepare: Callable[[Page], None] | None = None, **options: Any
    ) -> Page:
        context = chromium.new_context(**{"service_workers": "block", **(options or PHONE)})
        contexts.append(context)
        page = context.new_page()
        page.set_default_timeout(PATIENCE_MS)
        page.on("pageerror", lambda error: errors.append(str(error)))
        if prepare:
            prepare(page)
        page.goto(service.address + view)
        return page

    yield open_page
    for context in contexts:
        context.close()
    assert errors == []
