"""Wheels of this checkout, and others made from them that are broken in a chosen way."""

from __future__ import annotations

import subprocess
import sys
import zipfile
from collections.abc import Mapping
from pathlib import Path

TOP = Path(__file__).parents[2]


def build_wheel(folder: Path) -> Path:
    """The wheel of this checkout."""
    subprocess.run(
        [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", folder],
        cwd=TOP,
        check=True,
        capture_output=True,
    )
    return next(folder.glob("*.whl"))


def another_version(wheel: Path, version: str, added: Mapping[str, str]) -> Path:
    """The same under another version, with text put at the end of some of its files."""
    old = wheel.name.split("-")[1]
    to = wheel.with_name(wheel.name.replace(old, version))
    with zipfile.ZipFile(wheel) as source, zipfile.ZipFile(to, "w", zipfile.ZIP_DEFLATED) as target:
        for name in source.namelist():
            content = source.read(name)
            if name.endswith(".dist-info/METADATA"):
                content = content.replace(f"\nVersion: {old}\n".encode(), f"\nVersion: {version}\n".encode())
            renamed = name.replace(f"-{old}.dist-info", f"-{version}.dist-info")
            if name.endswith(".dist-info/RECORD"):
                content = content.replace(f"-{old}.dist-info".encode(), f"-{version}.dist-info".encode())
            target.writestr(renamed, content + added.get(name, "").encode())
    return to
