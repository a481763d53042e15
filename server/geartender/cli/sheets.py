"""figures and config check: what needs no running service."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from geartender.cli.remote import AsJson
from geartender.cli.terminal import FAILED, result, say, stop_with
from geartender.cli.wall_page import pin_table, wall_page
from geartender.errors import BuildSheetError

if TYPE_CHECKING:
    from geartender.build import BuildSheet

config = typer.Typer(no_args_is_help=True, help="The service's configuration.")


def add_to(app: typer.Typer) -> None:
    """Put these commands into the application."""
    app.command()(figures)
    app.command()(wiring)
    app.add_typer(config, name="config")


def figures(
    files: Annotated[list[Path], typer.Argument(help="Build sheets; several stand side by side.", metavar="FILE…")],
    as_json: AsJson = False,
) -> None:
    """Work out what a build can do, from its build sheet."""
    from geartender import build

    sheets = [read_sheet(path) for path in files]
    found = [build.figures(sheet).model_dump(mode="json") for sheet in sheets]
    if as_json:
        result(found[0] if len(found) == 1 else found, as_json, str)
        return
    names = [sheet.name or path.stem for sheet, path in zip(sheets, files, strict=True)]
    print(wall_page(names, found))


def wiring(
    file: Annotated[Path, typer.Argument(help="The build sheet.", metavar="FILE")],
    svg: Annotated[Path | None, typer.Option(help="Write the drawing there; it must not exist yet.")] = None,
    as_json: AsJson = False,
) -> None:
    """Say how a build is wired: every pin, with the parts in its wire."""
    from geartender.build import wiring as wires
    from geartender.build.wiring_drawing import drawing

    sheet = read_sheet(file)
    plan = wires.wiring(sheet)
    if svg is not None:
        with svg.open("x", encoding="utf-8") as target:
            target.write(drawing(plan, f"Wiring of {sheet.name or file.stem}"))
        say(f"{svg}: the drawing.")
    result(plan.model_dump(mode="json"), as_json, lambda _: pin_table(plan))


def read_sheet(path: Path) -> BuildSheet:
    """The build sheet in a file; ends the command with every mistake in it when it cannot be used."""
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
    """Check a configuration, the build sheets and the database it names, without starting anything."""
    from geartender.advice import advice
    from geartender.build import can_move
    from geartender.config import load_settings
    from geartender.store.checkup import mistake_in

    settings = load_settings(file)
    if settings.store.url is not None and (wrong := mistake_in(settings.store.url)):
        stop_with(f"{file}: store.url: {wrong}", FAILED)
    sheets = {servo.name: read_sheet(servo.build) for servo in settings.servo}
    notes = [
        *(
            f"{name}: its build sheet gives figures, but it cannot move without {', '.join(sheet.missing_to_move)}"
            for name, sheet in sheets.items()
            if not can_move(sheet)
        ),
        *advice(settings),
    ]
    for note in notes:
        say(f"{note}.")
    service = settings.service
    summary = {"servos": list(sheets), "host": service.host, "port": service.port, "notes": notes}
    result(summary, as_json, lambda _: f"{file}: in order. Servos: {', '.join(sheets)}.")
