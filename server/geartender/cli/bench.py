"""bench: measuring the servo that was actually built."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Annotated, Any

import typer

from geartender.cli.remote import DEFAULT_URL, AsJson, Key, ServoName, Url, connected
from geartender.cli.terminal import USAGE, result, say, stop_with

bench = typer.Typer(no_args_is_help=True, help="Measuring the servo that was actually built.")

Procedure = Annotated[str, typer.Argument(help="The procedure, such as first-power.", metavar="NAME")]
Answers = Annotated[
    list[str] | None,
    typer.Option("--answer", help="An answer given beforehand: question=value. Can be repeated.", metavar="ID=VALUE"),
]
Go = Annotated[bool, typer.Option("--go", help="Go on by itself after each announcement. Keep clear of the lever.")]


def add_to(app: typer.Typer) -> None:
    """Put these commands into the application."""
    app.add_typer(bench, name="bench")


@bench.command("list")
def list_procedures(url: Url = DEFAULT_URL, servo: ServoName = None, key: Key = None, as_json: AsJson = False) -> None:
    """List the procedures, each with what became of its last run."""
    with connected(url, key) as client:
        result({"items": client.bench.list(servo)}, as_json, lambda found: "\n".join(map(_line, found["items"])))


@bench.command("run")
def run(
    name: Procedure,
    answer: Answers = None,
    go: Go = False,
    url: Url = DEFAULT_URL,
    servo: ServoName = None,
    key: Key = None,
    as_json: AsJson = False,
) -> None:
    """Go through a procedure: it says what will move before it does. Ctrl-C takes drive away and ends it."""
    with connected(url, key) as client:
        given = dict(_given(one) for one in answer or ())
        done = client.bench.run(name, _ask, servo, given, auto=go, progress=_shown())
        result(done, as_json, _outcome)


@bench.command("report")
def report(
    csv: Annotated[bool, typer.Option("--csv", help="As a table (CSV).")] = False,
    html: Annotated[
        Path | None, typer.Option("--html", help="Write the page to print into this file.", metavar="FILE")
    ] = None,
    against: Annotated[int | None, typer.Option("--against", help="Version of the values to compare with.")] = None,
    url: Url = DEFAULT_URL,
    servo: ServoName = None,
    key: Key = None,
    as_json: AsJson = False,
) -> None:
    """Print the servo as designed and as built."""
    with connected(url, key) as client:
        if html is not None:
            html.write_text(client.bench.report_text("text/html", servo, against), encoding="utf-8")
        elif csv:
            sys.stdout.write(client.bench.report_text("text/csv", servo, against))
        else:
            result(client.bench.report(servo, against), as_json, _report)


@bench.command("health")
def health(
    csv: Annotated[bool, typer.Option("--csv", help="The points as a table (CSV).")] = False,
    url: Url = DEFAULT_URL,
    servo: ServoName = None,
    key: Key = None,
    as_json: AsJson = False,
) -> None:
    """Say how friction, play and count have changed over the weeks, by what normal moves took."""
    with connected(url, key) as client:
        if csv:
            sys.stdout.write(client.bench.health_table(servo))
        else:
            result(client.bench.health(servo), as_json, _health)


def _health(found: dict[str, Any]) -> str:
    lines = [f"{found['servo']}: {found['moves']} moves at {found['points']} points"]
    for one in found["trends"]:
        if one["now"] is not None:
            wear = "  worth a look" if one["shows"] else ""
            lines.append(
                f"  {one['title']:30} {one['now']:9.3g} {one['unit']:18} {one['change']:+7.1%} against the first days,"
                f" {one['per_week']:+.1%} a week{wear}"
            )
    if found["off_counts"] is not None:
        lines.append(f"  The count is off by {found['off_counts']:g} at the home mark, {found['marks']} passages.")
    return "\n".join([*lines, *(f"  {note}" for note in found["notes"])])


def _given(text: str) -> tuple[str, Any]:
    question, equals, value = text.partition("=")
    if not equals:
        stop_with(f"--answer {text}: write it as question=value, such as stop=yes.", USAGE)
    try:
        return question, json.loads(value)
    except ValueError:
        return question, value


def _ask(question: dict[str, Any]) -> Any:
    """Put a question to the person at the terminal."""
    if not sys.stdin.isatty():
        stop_with(
            f"It asks {question['id']!r}: {question['text']}\nGive --answer {question['id']}=…, or run it at a terminal.",
            USAGE,
        )
    say(f"\n{question['text']}")
    announced = question["announcement"]
    if announced is not None and announced["moves_deg"]:
        say(
            f"At most {announced['moves_deg']:.0f}°, {announced['speed_deg_s']:.0f}°/s, {announced['torque_nm']:.2f} N·m,"
            f" {announced['time_s']:.0f} s. Keep clear; Ctrl-C takes drive away."
        )
    if question["range"] is not None:
        say(_knob(question["range"]))
    while True:
        text = input(_prompt(question)).strip()
        if question["kind"] == "go" or (not text and question["optional"]):
            return None
        if question["kind"] == "choice" and text in question["choices"]:
            return text
        if question["kind"] in ("number", "range"):
            try:
                return float(text)
            except ValueError:
                pass
        say("That is no answer to it.")


def _knob(knob: dict[str, Any]) -> str:
    """What its positions would do, a line for each."""
    rows = ["      rms error   largest    Ms   gain margin   phase margin"]
    rows += [
        f"{one['position']:4g}  {one['rms_deg']:8.3f}°  {one['largest_deg']:7.3f}°  {one['ms']:4.2f}  {one['gain_margin']:12.1f}"
        f"  {one['phase_margin_deg']:12.0f}°"
        for one in knob["previews"]
    ]
    return "\n".join(rows)


def _prompt(question: dict[str, Any]) -> str:
    if question["range"] is not None:
        knob = question["range"]
        return f"[{knob['low']:g} {knob['ends'][0]} … {knob['high']:g} {knob['ends'][1]}] "
    if question["kind"] == "go":
        return "Enter to go on: "
    if question["kind"] == "choice":
        return f"[{' / '.join(question['choices'])}] "
    return f"[{question['unit']}{', or Enter without' if question['optional'] else ''}] "


def _shown() -> Any:
    """Prints what is new of a run on stderr."""
    seen: set[tuple[str, str]] = set()

    def show(run: dict[str, Any]) -> None:
        for step in run["steps"]:
            for text in (f"— {step['title']}", *step["text"]):
                if (step["id"], text) not in seen:
                    seen.add((step["id"], text))
                    say(text if text.startswith("—") else f"  {text}")

    return show


def _line(procedure: dict[str, Any]) -> str:
    last = procedure["last"]
    became = "never run" if last is None else f"{last['state']} on {last['began_at'][:16].replace('T', ' ')} UTC"
    return f"{procedure['name']:12}  {procedure['title']:12}  {became}"


def _outcome(run: dict[str, Any]) -> str:
    values = {name: one for step in run["steps"] for name, one in step["values"].items()}
    return (
        "\n".join(f"{name:24} {one['value']:.5g} ± {one['uncertainty']:.2g}" for name, one in values.items()) or "done"
    )


def _report(report: dict[str, Any]) -> str:
    against = report["against"]
    columns = {"designed": "as designed", "built": "as built", "uncertainty": "±"}
    columns |= {"other": f"version {against}"} if against else {}
    rows = [f"{report['name']}, {_versions(report)}", f"{'':38}" + "".join(f" {head:>12}" for head in columns.values())]
    for row in [*report["values"], *report["figures"]]:
        cells = "".join(f" {'–' if row[name] is None else format(row[name], '.4g'):>12}" for name in columns)
        rows.append(f"{row['title'][:38]:38}{cells} {row['unit']}")
    return "\n".join([*rows, "", *report["notes"], report["caution"]])


def _versions(report: dict[str, Any]) -> str:
    if report["revision"] is None:
        return "nothing measured yet"
    older = [str(one) for one in report["versions"] if one != report["revision"]]
    return f"version {report['revision']}" + (f" (to compare with, by --against: {', '.join(older)})" if older else "")
