"""run, sequences, timetable: what is stored, and running it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated, Any

import typer

from geartender.cli.remote import DEFAULT_URL, AsJson, Key, ServoName, Url, connected
from geartender.cli.terminal import USAGE, result, say, stop_with

Name = Annotated[str, typer.Argument(help="Its name.", metavar="NAME")]
File = Annotated[
    Path, typer.Argument(help="The document (JSON); - reads standard input.", metavar="FILE", allow_dash=True)
]
Replace = Annotated[bool, typer.Option("--replace", help="Replace the one that is there.")]

sequences = typer.Typer(no_args_is_help=True, help="Stored lists of steps.")
timetable = typer.Typer(no_args_is_help=True, help="When sequences run by themselves.")


def add_to(app: typer.Typer) -> None:
    """Put these commands into the application."""
    app.command()(run)
    app.add_typer(sequences, name="sequences")
    app.add_typer(timetable, name="timetable")


def run(
    name: Name,
    watch: Annotated[bool, typer.Option("--watch", help="Print each step as it is done.")] = False,
    no_wait: Annotated[bool, typer.Option("--no-wait", help="Return as soon as it has started.")] = False,
    url: Url = DEFAULT_URL,
    servo: ServoName = None,
    key: Key = None,
    as_json: AsJson = False,
) -> None:
    """Run a stored sequence and wait until it is done. Ctrl-C ends it."""
    with connected(url, key) as client:
        if no_wait:
            result(client.runs.start(name, servo), as_json, run_line)
        else:
            progress = _watched(as_json) if watch else None
            result(client.runs.run(name, servo, progress), as_json, run_line)


def _watched(as_json: bool) -> Any:
    """Prints what is new of a run: steps on stderr, so that the result stands alone on stdout."""
    seen: dict[int, str] = {}

    def show(run: dict[str, Any]) -> None:
        for step in run["steps"]:
            if seen.get(step["position"]) != step["state"]:
                seen[step["position"]] = step["state"]
                say(json.dumps(step) if as_json else step_line(step))

    return show


@sequences.command("list")
def list_sequences(url: Url = DEFAULT_URL, key: Key = None, as_json: AsJson = False) -> None:
    """List the stored sequences."""
    with connected(url, key) as client:
        result({"items": client.sequences.list()}, as_json, lambda found: _lines(found["items"], _sequence_line))


@sequences.command("show")
def show_sequence(name: Name, url: Url = DEFAULT_URL, key: Key = None) -> None:
    """Print a sequence as JSON, as `put` reads it."""
    with connected(url, key) as client:
        document, _ = client.sequences.get(name)
        print(json.dumps(document, indent=2, ensure_ascii=False))


@sequences.command("put")
def put_sequence(name: Name, file: File, replace: Replace = False, url: Url = DEFAULT_URL, key: Key = None) -> None:
    """Save a sequence. It is checked as a whole first."""
    _put("sequences", name, file, replace, url, key)


@sequences.command("delete")
def delete_sequence(name: Name, url: Url = DEFAULT_URL, key: Key = None) -> None:
    """Delete a sequence that nothing uses."""
    with connected(url, key) as client:
        client.sequences.delete(name)


@sequences.command("preview")
def preview_sequence(
    name: Name, url: Url = DEFAULT_URL, servo: ServoName = None, key: Key = None, as_json: AsJson = False
) -> None:
    """Work out what a sequence would do. Nothing moves."""
    with connected(url, key) as client:
        result(client.preview(name, servo=servo), as_json, preview_lines)


@timetable.command("list")
def list_timetable(url: Url = DEFAULT_URL, key: Key = None, as_json: AsJson = False) -> None:
    """List the entries, each with its next time."""
    with connected(url, key) as client:
        result({"items": client.timetable.list()}, as_json, lambda found: _lines(found["items"], _entry_line))


@timetable.command("next")
def next_slots(name: Name, url: Url = DEFAULT_URL, key: Key = None, as_json: AsJson = False) -> None:
    """Print when an entry is due next."""
    with connected(url, key) as client:
        slots = client.next_slots(name)
        result({"items": slots}, as_json, lambda found: _lines(found["items"], lambda slot: slot["local"]))


@timetable.command("put")
def put_entry(name: Name, file: File, replace: Replace = False, url: Url = DEFAULT_URL, key: Key = None) -> None:
    """Save an entry. It counts from now on."""
    _put("timetable", name, file, replace, url, key)


@timetable.command("delete")
def delete_entry(name: Name, url: Url = DEFAULT_URL, key: Key = None) -> None:
    """Delete an entry."""
    with connected(url, key) as client:
        client.timetable.delete(name)


def _put(kind: str, name: str, file: Path, replace: bool, url: str, key: str | None) -> None:
    document = read_json(file)
    with connected(url, key) as client:
        documents = getattr(client, kind)
        if replace:
            documents.replace(name, document)
        else:
            documents.put(name, document)


def read_json(file: Path) -> dict[str, Any]:
    """The JSON object in a file, or the end of the command."""
    import sys

    text = sys.stdin.read() if str(file) == "-" else file.read_text(encoding="utf-8")
    try:
        document = json.loads(text)
    except ValueError as error:
        stop_with(f"{file}: not JSON: {error}", USAGE)
    if not isinstance(document, dict):
        stop_with(f"{file}: it must hold one JSON object.", USAGE)
    return document


def run_line(run: dict[str, Any]) -> str:
    """One line that says what became of a run."""
    line = f"{run['sequence']}: {run['state']}"
    if run["actual_s"] is not None:
        line += f" after {run['actual_s']:.1f} s"
    elif run["planned_s"] is not None:
        line += f", planned {run['planned_s']:.1f} s"
    return line if run["reason"] is None else f"{line}: {run['reason']}"


def step_line(step: dict[str, Any]) -> str:
    """One line that says how a step stands."""
    line = f"{step['position'] + 1}. {step['at']} {step['do']} {step['state']}"
    if step["end_deg"] is not None:
        line += f" at {step['end_deg']:.2f}°"
    if step["actual_s"] is not None:
        line += f" after {step['actual_s']:.1f} s"
    return line if step["reason"] is None else f"{line}: {step['reason']}"


def preview_lines(preview: dict[str, Any]) -> str:
    """A preview as a person reads it."""
    lines = [f"takes {preview['planned_s']:.1f} s, {preview['steps_total']} steps"]
    for step in preview["steps"]:
        ends = "" if step["to_deg"] is None else f" to {step['to_deg']:.2f}°"
        lines.append(f"{step['begin_s']:8.1f} s  {step['at']} {step['do']}{ends}, {step['planned_s']:.1f} s")
    for servo in preview["servos"]:
        stands = servo["continuous_torque_nm"]
        of = "" if stands is None else f" of {stands:.2f} N·m that it may give for ever"
        lines.append(
            f"{servo['servo']}: {servo['duty_type']}, {servo['rms_torque_nm']:.2f} N·m{of}, "
            f"peak {servo['peak_torque_nm']:.2f} N·m, {servo['energy_j']:.0f} J"
        )
        if servo["runs_per_charge"] is not None:
            lines.append(f"{servo['servo']}: {servo['runs_per_charge']} runs for a charge")
    return "\n".join([*lines, *preview["notes"]])


def _sequence_line(item: dict[str, Any]) -> str:
    note = item["document"].get("note", "").split("\n")[0]
    return f"{item['name']}: {len(item['document']['steps'])} steps" + (f", {note}" if note else "")


def _entry_line(item: dict[str, Any]) -> str:
    due = item["next"]["local"] if item["next"] else "never"
    return f"{item['name']}: {item['document'].get('sequence')}, next {due}"


def _lines(items: list[dict[str, Any]], line: Any) -> str:
    return "\n".join(map(line, items)) if items else "none"
