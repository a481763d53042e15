"""figures and config check: what needs no running service."""

from __future__ import annotations

import textwrap
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from geartender.cli.remote import AsJson
from geartender.cli.terminal import FAILED, result, say, stop_with
from geartender.cli.wording import label_and_unit, shown
from geartender.errors import BuildSheetError

if TYPE_CHECKING:
    from geartender.build import BuildSheet

COLUMN = 16
"""Characters of a column of values; a note is folded to the width of one sheet of them."""
LABEL = 34
NOTE_WIDTH = 72

config = typer.Typer(no_args_is_help=True, help="The service's configuration.")


def add_to(app: typer.Typer) -> None:
    """Put these commands into the application."""
    app.command()(figures)
    app.add_typer(config, name="config")


def figures(
    files: Annotated[list[Path], typer.Argument(help="Build sheets; several stand side by side.", metavar="FILE…")],
    as_json: AsJson = False,
) -> None:
    """Work out what a build can do, from its build sheet."""
    from geartender import build

    sheets = [_read(path) for path in files]
    found = [build.figures(sheet).model_dump(mode="json") for sheet in sheets]
    if as_json:
        result(found[0] if len(found) == 1 else found, as_json, str)
        return
    names = [sheet.name or path.stem for sheet, path in zip(sheets, files, strict=True)]
    print(wall_page(names, found))


def wall_page(names: list[str], found: list[dict[str, Any]]) -> str:
    """The figures as a page to pin to the wall: a line for each, a column for each sheet, then the notes."""
    rule = "─" * (LABEL + 12 + COLUMN * len(names))
    lines = [" " * LABEL + "".join(f"{name[: COLUMN - 1]:>{COLUMN}}" for name in names), rule]
    for field in found[0]:
        values = [one[field] for one in found]
        if isinstance(values[0], dict):
            lines += ["", label_and_unit(field)[0]]
            lines += [_row(inner, [one[inner] for one in values], indent="  ") for inner in values[0]]
        elif not isinstance(values[0], list):
            lines.append(_row(field, values))
    for name, one in zip(names, found, strict=True):
        lines += ["", f"Notes on {name}" if len(names) > 1 else "Notes"]
        lines += [textwrap.fill(note, NOTE_WIDTH, initial_indent="· ", subsequent_indent="  ") for note in one["notes"]]
    return "\n".join(lines)


def _row(field: str, values: list[Any], indent: str = "") -> str:
    label, unit = label_and_unit(field)
    return (
        f"{indent + label:<{LABEL}}" + "".join(f"{shown(value):>{COLUMN}}" for value in values) + f"  {unit}".rstrip()
    )


def _read(path: Path) -> BuildSheet:
    from geartender.build import load_build

    try:
        return load_build(path)
    except BuildSheetError as error:
        stop_with(str(error), FAILED)
    except OSError as error:
        stop_with(f"{path}: cannot be read: {error.strerror}", FAILED)


@config.command()
def check(
    file: Annotated[Path, typer.Argument(help="The configuration (TOML).", metavar="FILE")], as_json: AsJson = False
) -> None:
    """Check a configuration and the build sheets it names, without starting anything."""
    from geartender.build import can_move
    from geartender.config import load_settings

    settings = load_settings(file)
    sheets = {servo.name: _read(servo.build) for servo in settings.servo}
    for name, sheet in sheets.items():
        if not can_move(sheet):
            say(
                f"{name}: its build sheet gives figures, but it cannot move without {', '.join(sheet.missing_to_move)}."
            )
    summary = {"servos": list(sheets), "host": settings.service.host, "port": settings.service.port}
    result(summary, as_json, lambda _: f"{file}: in order. Servos: {', '.join(sheets)}.")
