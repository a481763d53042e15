"""pair, keys: who is let in."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Annotated, Any, Literal

import typer

from geartender.cli.invitation import invitation_text
from geartender.cli.machine import CONFIG, Desk, desk_of
from geartender.cli.remote import DEFAULT_URL, AsJson, Key, Url, connected
from geartender.cli.terminal import USAGE, result, say, stop_with

keys = typer.Typer(
    no_args_is_help=True, rich_markup_mode=None, help="Let scripts in, see who is let in, let one in no longer."
)

Config = Annotated[
    Path | None,
    typer.Option(
        "--config",
        envvar="GEARTENDER_CONFIG",
        metavar="FILE",
        help="Configuration of the service, at its machine, running or not; else the installed one, or the service at --url.",
    ),
]
RoleName = Literal["watch", "drive", "manage"]
Days = re.compile(r"(\d{1,5})d")


def add_to(app: typer.Typer) -> None:
    """Put these commands into the application."""
    app.command()(pair)
    app.add_typer(keys, name="keys")


@contextmanager
def _desk(config: Path | None, url: str, key: str | None) -> Iterator[Desk]:
    if config is None and key is None and url == DEFAULT_URL and CONFIG.exists():
        config = CONFIG
    if config is not None:
        with desk_of(config) as desk:
            yield desk
    else:
        with connected(url, key) as client:
            yield client.access


def pair(
    role: Annotated[RoleName, typer.Option(help="What the phone is let in for.")] = "drive",
    config: Config = None,
    url: Url = DEFAULT_URL,
    key: Key = None,
    as_json: AsJson = False,
) -> None:
    """Invite a phone: a QR code to point it at, and a code of six digits to type. Good once, for ten minutes."""
    with _desk(config, url, key) as desk:
        result(
            desk.invite(role),
            as_json,
            lambda made: invitation_text(made["role"], made["address"], made["code"], made["lives_s"]),
        )


@keys.command("add")
def add(
    name: Annotated[str, typer.Argument(help="What the journal is to call it.", metavar="NAME")],
    role: Annotated[RoleName, typer.Option(help="What the script is let in for.")],
    servo: Annotated[str | None, typer.Option(help="The one servo it is for; else all.")] = None,
    expires: Annotated[
        str | None, typer.Option(help="When it ends: 90d, or a date such as 2031-05-01; else never.")
    ] = None,
    config: Config = None,
    url: Url = DEFAULT_URL,
    key: Key = None,
    as_json: AsJson = False,
) -> None:
    """Let a script in. Its key is printed this once, and kept nowhere."""
    with _desk(config, url, key) as desk:
        made = desk.add_key(name, role, servo, _moment(expires))
    result({"key": made["key"], "id": made["id"], "name": made["name"]}, as_json, lambda found: str(found["key"]))
    if not as_json:
        say(
            "It is shown this once. A script sends it as `Authorization: Bearer`, a command takes it as --key or GEARTENDER_KEY."
        )


@keys.command("list")
def list_keys(config: Config = None, url: Url = DEFAULT_URL, key: Key = None, as_json: AsJson = False) -> None:
    """Say which phones and keys are let in."""
    with _desk(config, url, key) as desk:
        result(desk.listed(), as_json, lambda items: "\n".join(map(_line, items)) or "Nobody is let in.")


@keys.command("revoke")
def revoke(
    name: Annotated[str, typer.Argument(help="Its name or id, as `keys list` gives it.", metavar="NAME")],
    config: Config = None,
    url: Url = DEFAULT_URL,
    key: Key = None,
    as_json: AsJson = False,
) -> None:
    """Let a phone or a key in no longer. What it has open ends at once."""
    with _desk(config, url, key) as desk:
        found = [one for one in desk.listed() if name in (one["id"], one["name"])]
        if not found:
            stop_with(f"There is no phone or key named {name!r}; `geartender keys list` says which there are.", USAGE)
        desk.revoke(found[0]["id"], anyway=config is not None)
        if config is not None and not any(one["role"] == "manage" for one in desk.listed()):
            say("Nobody may let others in now. `geartender pair --role manage` does, here at the machine.")
    result({"id": found[0]["id"], "name": found[0]["name"]}, as_json, lambda one: f"{one['name']} is let in no longer.")


def _moment(text: str | None) -> str | None:
    """The time that was meant, with its offset from UTC."""
    if text is None:
        return None
    days = Days.fullmatch(text)
    if days:
        return (datetime.now(UTC) + timedelta(days=int(days.group(1)))).isoformat()
    try:
        return datetime.fromisoformat(text).astimezone().isoformat()
    except ValueError:
        stop_with(f"{text!r} is no time. Write it like 90d, 2031-05-01 or 2031-05-01T06:00Z.", USAGE)


def _line(one: dict[str, Any]) -> str:
    """One phone or key on one line."""
    used = "never used" if one["last_used_at"] is None else f"last used {_day(one['last_used_at'])}"
    until = "" if one["expires_at"] is None else f", until {_day(one['expires_at'])}"
    servo = "" if one["servo"] is None else f" of {one['servo']}"
    over = "" if one["valid"] else ", let in no longer"
    return f"{one['id']}  {one['kind']:5}  {one['role']:6}  {one['name']}{servo}, {used}{until}{over}"


def _day(at: str) -> str:
    return f"{datetime.fromisoformat(at).astimezone():%Y-%m-%d %H:%M}"
