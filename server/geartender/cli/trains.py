"""trains: which gear trains reach a speed and a torque at once, with the motor of a build sheet."""

from __future__ import annotations

import sys
import textwrap
import time
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from geartender.cli.remote import AsJson
from geartender.cli.sheets import read_sheet
from geartender.cli.terminal import FAILED, USAGE, result, say, stop_with
from geartender.cli.wording import shown

if TYPE_CHECKING:
    from geartender.build.trains import TrainRequest

QUIET_S = 1.0
"""s before the share done is shown: a shorter wait needs no word."""

NOW_AND_THEN_S = 0.2
"""s between two of them: often enough to look alive, seldom enough to cost nothing."""

NOTE_WIDTH = 100
COLUMNS = "{:>3}  {:<52}{:>9}{:>8}{:>9}{:>8}{:>8}"
HEADINGS = ("#", "Driver/driven teeth and module, motor to output", "Ratio", "Length", "Largest", "Speed", "Margin")
UNITS = ("", "", "", "mm", "mm", "°/s", "×")


def add_to(app: typer.Typer) -> None:
    """Put this command into the application."""
    app.command()(trains)


def trains(
    file: Annotated[Path, typer.Argument(help="The build sheet with the motor.", metavar="FILE")],
    speed_deg_s: Annotated[float, typer.Option("--speed-deg-s", help="Speed of the output under the torque, in °/s.")],
    torque_nm: Annotated[float, typer.Option("--torque-nm", help="Torque of the output at that speed, in N·m.")],
    teeth: Annotated[str | None, typer.Option("--teeth", metavar="MIN..MAX", help="Teeth of a gear.")] = None,
    meshes: Annotated[int | None, typer.Option("--meshes", help="Most pairs of gears, 1 to 4.")] = None,
    modules: Annotated[list[float] | None, typer.Option("--module", help="A module in mm; give it for each.")] = None,
    face_modules: Annotated[float | None, typer.Option("--face-modules", help="Width of the teeth in modules.")] = None,
    face_mm: Annotated[float | None, typer.Option("--face-mm", help="Width of all teeth in mm instead.")] = None,
    allowable_mpa: Annotated[float | None, typer.Option("--allowable-mpa", help="Bending stress to allow.")] = None,
    efficiency: Annotated[float | None, typer.Option("--efficiency", help="Share of power through a mesh.")] = None,
    bed: Annotated[float | None, typer.Option("--bed", help="Width of the printer's bed in mm.")] = None,
    most: Annotated[int | None, typer.Option("--most", help="How many trains to show.")] = None,
    save: Annotated[
        tuple[int, Path] | None,
        typer.Option("--save", metavar="N FILE", help="Write the N-th as a build sheet into a new file."),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Find the gear trains that reach a speed and a torque at once, and whose teeth bear it."""
    from geartender.build.trains import find_trains

    fewest, highest = _range(teeth)
    request = _request(
        speed_deg_s=speed_deg_s,
        torque_nm=torque_nm,
        fewest_teeth=fewest,
        most_teeth=highest,
        most_meshes=meshes,
        modules_mm=modules or None,
        face_modules=face_modules,
        face_mm=face_mm,
        allowable_mpa=allowable_mpa,
        efficiency=efficiency,
        bed_mm=bed,
        most=most,
    )
    found = find_trains(read_sheet(file), request, ShareDone()).model_dump(mode="json")
    if save is not None and found["items"]:
        _save(found["items"], *save)
    if found["items"] or as_json:
        result(found, as_json, table)
    if not found["items"]:
        stop_with(f"No train. {found['none_because']}", FAILED)


def _range(teeth: str | None) -> tuple[int | None, int | None]:
    if teeth is None:
        return None, None
    fewest, dots, most = teeth.partition("..")
    if not (dots and fewest.isdecimal() and most.isdecimal()):
        stop_with(f"--teeth takes the fewest and the most teeth, such as 12..80, not {teeth!r}.", USAGE)
    return int(fewest), int(most)


def _request(**given: object) -> TrainRequest:
    """The request of these options; what is None is left to its default."""
    from pydantic import ValidationError

    from geartender.build.trains import TrainRequest
    from geartender.mistakes import mistakes_from

    try:
        return TrainRequest.model_validate({name: value for name, value in given.items() if value is not None})
    except ValidationError as error:
        stop_with("\n".join(map(str, mistakes_from(error.errors()))), USAGE)


def _save(trains_found: list[dict[str, Any]], number: int, file: Path) -> None:
    from geartender.build import parse_build, write_build

    if not 1 <= number <= len(trains_found):
        stop_with(f"There is no train {number} to save: there are 1 to {len(trains_found)}.", FAILED)
    text = write_build(parse_build(trains_found[number - 1]["build"]))
    try:
        with file.open("x", encoding="utf-8") as out:
            out.write(text)
    except FileExistsError:
        stop_with(f"{file}: exists already, and is left as it is. Choose another name.", FAILED)
    say(f"Train {number} is in {file}. See what it can do: geartender figures {file}")


def table(found: dict[str, Any]) -> str:
    """The trains as lines, then the rule they are ranked by and what was taken for granted."""
    lines = [COLUMNS.format(*HEADINGS).rstrip(), COLUMNS.format(*UNITS).rstrip()]
    lines += [_line(i, train) for i, train in enumerate(found["items"], start=1)]
    notes = [textwrap.fill(note, NOTE_WIDTH, initial_indent="· ", subsequent_indent="  ") for note in found["notes"]]
    return "\n".join([*lines, "", textwrap.fill(found["rule"], NOTE_WIDTH), *notes])


def _line(number: int, train: dict[str, Any]) -> str:
    meshes = ", ".join(f"{m['driver_teeth']}/{m['driven_teeth']} m{m['module_mm']:g}" for m in train["meshes"])
    figures = ("gear_ratio", "centre_distances_mm", "largest_wheel_mm", "speed_deg_s", "torque_margin")
    return COLUMNS.format(number, meshes, *(shown(train[name]) for name in figures))


class ShareDone:
    """Shows on stderr which share is done, once it takes longer than a moment; nothing when stderr is no terminal."""

    def __init__(self) -> None:
        self._next = time.monotonic() + QUIET_S

    def __call__(self, share: float) -> None:
        now = time.monotonic()
        if now >= self._next and sys.stderr.isatty():
            self._next = now + NOW_AND_THEN_S
            print(f"\r{share:4.0%} searched", end="\r", file=sys.stderr, flush=True)
