"""Reading and writing a build sheet: TOML on disk, a mapping over HTTP. `load_build` is the only part that opens a file."""

import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import tomli_w
from pydantic import ValidationError

from geartender.build.mistakes import mistakes
from geartender.build.sheet import BuildSheet
from geartender.errors import BuildSheetError, Mistake


def load_build(path: str | Path) -> BuildSheet:
    """Read a build sheet from a TOML file.

    Raises BuildSheetError with every mistake in it, and OSError when the file cannot be read.
    """
    source = Path(path)
    try:
        text = source.read_bytes().decode()
    except UnicodeDecodeError as error:
        raise BuildSheetError(
            [_whole(f"is not UTF-8 text (byte {error.start}). Save it as UTF-8.")], source.name
        ) from None
    try:
        return parse_build(text)
    except BuildSheetError as error:
        raise BuildSheetError(error.items, source.name) from None


def parse_build(source: object) -> BuildSheet:
    """A build sheet from TOML text or from a mapping as JSON gives it. Raises BuildSheetError with every mistake."""
    raw = _toml(source) if isinstance(source, str) else source
    if not isinstance(raw, Mapping):
        raise BuildSheetError([_whole("is not a build sheet: it must hold tables such as motor, disc and mesh.")])
    try:
        return BuildSheet.model_validate(raw)
    except ValidationError as error:
        raise BuildSheetError(mistakes(error, raw)) from None


def build_document(sheet: BuildSheet) -> dict[str, Any]:
    """The sheet as a mapping with only what was written into it, for JSON and TOML."""
    return sheet.model_dump(mode="json", exclude_unset=True, exclude_none=True)


def write_build(sheet: BuildSheet) -> str:
    """The sheet as TOML text, which `parse_build` reads back to the same sheet."""
    return tomli_w.dumps(build_document(sheet))


def _toml(text: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise BuildSheetError([_whole(f"is not TOML: {error}")]) from None


def _whole(text: str) -> Mistake:
    return Mistake("", "#", text)
