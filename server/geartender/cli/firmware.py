"""firmware install: puts the firmware that came with this service on a board."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from geartender.cli.remote import DEFAULT_URL, AsJson, Key, ServoName, Url, chosen, connected
from geartender.cli.terminal import USAGE, result, say, stop_with
from geartender.errors import Unreachable

if TYPE_CHECKING:
    from geartender.install.procedure import Report

LOOK_EVERY_S = 1.0
"""s between two looks at a board that is awaited."""

app = typer.Typer(no_args_is_help=True, help="The firmware on the board.")


def add_to(main: typer.Typer) -> None:
    """Put these commands into the application."""
    main.add_typer(app, name="firmware")


@app.callback()
def _group() -> None:
    """The firmware on the board."""


@app.command()
def install(
    port: Annotated[str | None, typer.Option(help="Serial port of the board; else the only board there is.")] = None,
    config: Annotated[
        Path | None,
        typer.Option("--config", help="Take the port of the servo from this configuration.", metavar="FILE"),
    ] = None,
    url: Url = DEFAULT_URL,
    servo: ServoName = None,
    key: Key = None,
    as_json: AsJson = False,
) -> None:
    """Put the firmware that came with this service on the board: what differs, on trial, and back if it does not answer.

    A service that runs lets go of the port meanwhile; it does so only while the servo is disarmed.
    """
    from geartender.firmware.version import VERSION
    from geartender.install.conversation import Conversation
    from geartender.install.files import shipped
    from geartender.install.procedure import Installer
    from geartender.install.tool import CopyingTool

    named = port or (None if config is None else _port_of(config, servo))
    with _released(url, key, servo):
        done = Installer(CopyingTool(), Conversation(), patient, say, shipped(), VERSION, named).run()
    result(asdict(done), as_json, lambda _: _line(done))


def patient(condition: Callable[[], bool], seconds: float) -> bool:
    """Look again and again until it holds, or the time is up."""
    end = time.monotonic() + seconds
    while not condition():
        if time.monotonic() > end:
            return False
        time.sleep(LOOK_EVERY_S)
    return True


def _port_of(config: Path, servo: str | None) -> str:
    from geartender.config import load_settings

    servos = {one.name: one.port for one in load_settings(config).servo}
    if servo is None and len(servos) == 1:
        return next(iter(servos.values()))
    if servo not in servos:
        stop_with(f"Say which servo with --servo: {', '.join(servos)}.", USAGE)
    return servos[servo]


@contextmanager
def _released(url: str, key: str | None, servo: str | None) -> Iterator[None]:
    """The port, let go by the service for that while; nothing to do where no service runs."""
    with ExitStack() as stack:
        try:
            remote = chosen(stack.enter_context(connected(url, key)), servo)
            remote.release()
        except Unreachable:
            say(f"No service answers at {url}; going on without.")
        else:
            stack.callback(remote.reconnect)
        yield


def _line(report: Report) -> str:
    before = f" in place of {report.before}" if report.before else ""
    return f"{report.port}: firmware {report.version}{before}, {len(report.copied)} files copied, {len(report.removed)} removed"
