"""doctor: what is wrong on this machine, and what to do."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from geartender.cli.machine import CONFIG, key_left_in
from geartender.cli.remote import AsJson
from geartender.cli.terminal import DONE, FAILED, result

if TYPE_CHECKING:
    from geartender.doctor import Finding

MARKS = {"good": "  ", "look": "· ", "bad": "✗ "}


def add_to(app: typer.Typer) -> None:
    """Put these commands into the application."""
    app.command()(doctor)


def doctor(
    config: Annotated[Path, typer.Option("--config", help="The configuration (TOML).", metavar="FILE")] = CONFIG,
    as_json: AsJson = False,
) -> None:
    """Look at ports, rights, firmware, clock, disk, database, zone, HTTPS and memory; say what is wrong and what to do.

    Works whether the service runs or not. Ends with 1 when something is to be put right.
    """
    import asyncio
    from dataclasses import asdict

    from geartender.api.app import store_url
    from geartender.config import load_settings
    from geartender.doctor import Verdict, examine
    from geartender.world import real_world

    settings = load_settings(config)
    key = key_left_in(settings.service.data_dir)
    found = asyncio.run(examine(settings, store_url(settings), real_world(), key))
    result([asdict(one) for one in found], as_json, lambda _: "\n".join(lines(found)))
    raise SystemExit(FAILED if any(one.verdict is Verdict.BAD for one in found) else DONE)


def lines(found: list[Finding]) -> list[str]:
    """For a person: one line each, and under it what to do."""
    width = max(len(one.what) for one in found)
    shown = []
    for one in found:
        shown.append(f"{MARKS[one.verdict]}{one.what:<{width}}  {one.text}")
        if one.fix:
            shown.append(f"  {'':<{width}}  → {one.fix}")
    return shown
