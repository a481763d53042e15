"""journal, notices, backup, restore: what the service keeps."""

from __future__ import annotations

import json
import sys
from datetime import datetime
from itertools import islice
from pathlib import Path
from typing import Annotated, Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import typer

from geartender.cli.remote import DEFAULT_URL, AsJson, Key, Url, connected
from geartender.cli.terminal import USAGE, result, say, stop_with

File = Annotated[Path, typer.Argument(help="The archive.", metavar="FILE")]


def add_to(app: typer.Typer) -> None:
    """Put these commands into the application."""
    for command in (journal, notices, backup, restore):
        app.command()(command)


def journal(
    follow: Annotated[bool, typer.Option("--follow", help="Go on with what is written from now on.")] = False,
    limit: Annotated[int, typer.Option(help="Entries at most, the newest.", min=1)] = 50,
    since: Annotated[str | None, typer.Option(help="From this time on, such as 2031-03-01T06:00Z.")] = None,
    until: Annotated[str | None, typer.Option(help="Before this time.")] = None,
    kind: Annotated[list[str] | None, typer.Option(help="Only this kind, such as fault; may be repeated.")] = None,
    text: Annotated[str | None, typer.Option(help="Only with these words.")] = None,
    servo: Annotated[str | None, typer.Option(envvar="GEARTENDER_SERVO", help="Only of this servo.")] = None,
    url: Url = DEFAULT_URL,
    key: Key = None,
    as_json: AsJson = False,
) -> None:
    """Say what was commanded and what happened, oldest first. With --json, one entry a line."""
    filters = {"since": since, "until": until, "kind": kind, "text": text, "servo": servo}
    with connected(url, key) as client:
        newest = client.journal.newest_id()
        for entry in reversed(list(islice(client.journal.entries(**filters), limit))):
            newest = max(newest, entry["id"])
            _show(entry, as_json)
        if follow:
            for entry in client.journal.follow(newest, **filters):
                _show(entry, as_json)


def notices(url: Url = DEFAULT_URL, key: Key = None, as_json: AsJson = False) -> None:
    """Say what needs a person."""
    with connected(url, key) as client:
        result(client.notices(), as_json, _notice_lines)


def backup(file: File, url: Url = DEFAULT_URL, key: Key = None, as_json: AsJson = False) -> None:
    """Save everything that is kept as one archive: sheets, sequences, timetable, measured values, the journal."""
    with connected(url, key) as client:
        size = client.backup(file)
        result({"file": str(file), "bytes": size}, as_json, lambda saved: f"{saved['file']}: {saved['bytes']} bytes")


def restore(
    file: File,
    yes: Annotated[bool, typer.Option("--yes", help="Do not ask.")] = False,
    url: Url = DEFAULT_URL,
    key: Key = None,
    as_json: AsJson = False,
) -> None:
    """Put an archive in the place of everything. It is checked first; every servo is disarmed after."""
    if not file.is_file():
        stop_with(f"{file}: there is no such file.", USAGE)
    if not yes:
        _ask(f"This replaces everything that {url} keeps by what is in {file}, and disarms its servos. Go on?")
    with connected(url, key) as client:
        result(client.restore(file), as_json, _restored_line)


def entry_line(entry: dict[str, Any]) -> str:
    """An entry on one line, its time as it was on the clock of the site."""
    subject = f"{entry['servo']}: " if entry["servo"] else ""
    became = "…" if entry["result"] is None else "" if entry["result"] == "done" else f", {entry['result']}"
    figures = entry["figures"]
    if entry["result"] == "done" and "actual_s" in figures:
        became = f", done in {figures['actual_s']:.1f} s"
    why = f" ({entry['reason']})" if entry["reason"] else ""
    by = f" by {entry['who']}" if entry["via"] != "service" and entry["who"] not in entry["text"] else ""
    return f"{_local(entry):%Y-%m-%d %H:%M:%S}  {subject}{entry['text']}{by}{became}{why}"


def _local(entry: dict[str, Any]) -> datetime:
    at = datetime.fromisoformat(entry["at"])
    try:
        return at.astimezone(ZoneInfo(entry["zone"]))
    except ZoneInfoNotFoundError:
        return at


def _show(entry: dict[str, Any], as_json: bool) -> None:
    print(json.dumps(entry) if as_json else entry_line(entry), flush=True)


def _notice_lines(items: list[dict[str, Any]]) -> str:
    return "\n".join(f"{one['text']} {one['advice']}" for one in items) or "Nothing needs you."


def _restored_line(done: dict[str, Any]) -> str:
    left = f"; without the sheets of {', '.join(done['unknown_servos'])}" if done["unknown_servos"] else ""
    return f"Restored {done['documents']} documents and {done['entries']} entries of the journal{left}."


def _ask(question: str) -> None:
    if not sys.stdin.isatty():
        stop_with("That replaces everything; say --yes to mean it.", USAGE)
    if not typer.confirm(question, err=True):
        say("Nothing was changed.")
        raise SystemExit(USAGE)
