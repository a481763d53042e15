"""What goes to a board: one wheel with everything in it, and a lock that pins it all."""

import re
import subprocess
import sys
import tomllib
import zipfile
from pathlib import Path

import pytest

TOP = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> zipfile.ZipFile:
    folder = tmp_path_factory.mktemp("wheel")
    subprocess.run(
        [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", folder],
        cwd=TOP,
        check=True,
        capture_output=True,
    )
    return zipfile.ZipFile(next(folder.glob("*.whl")))


@pytest.mark.parametrize("kept", ["server/geartender", "web/static", "web/templates", "web/vendor"])
def test_the_wheel_has_every_file(wheel: zipfile.ZipFile, kept: str) -> None:
    names = set(wheel.namelist())
    folder = TOP / kept
    place = "geartender" if kept.startswith("server") else f"geartender/{kept}"
    for path in folder.rglob("*"):
        inside = path.relative_to(folder)
        if path.is_file() and not any(part == "__pycache__" or part.startswith(".") for part in inside.parts):
            assert f"{place}/{inside.as_posix()}" in names


def test_the_wheel_has_nothing_else(wheel: zipfile.ZipFile) -> None:
    assert {name.split("/")[0].partition("-")[0] for name in wheel.namelist()} == {"geartender"}
    assert not [name for name in wheel.namelist() if "node_modules" in name or "test" in name.lower()]


def test_the_lock_pins_every_dependency_and_names_no_host() -> None:
    lock = (TOP / "deploy/requirements.lock").read_text()
    pinned = set(re.findall(r"^([a-z0-9.-]+)==", lock, re.MULTILINE))
    project = tomllib.loads((TOP / "pyproject.toml").read_text())["project"]
    wanted = [*project["dependencies"], *(one for extra in project["optional-dependencies"].values() for one in extra)]
    names = {re.split(r"[<>=;\[ ]", one)[0].lower().replace("_", "-") for one in wanted} - {project["name"]}
    assert names <= pinned
    assert "://" not in lock
    assert lock.count("==") >= len(pinned)
    assert all("--hash=sha256:" in block for block in re.split(r"\n(?=[a-z])", lock) if "==" in block)


@pytest.mark.parametrize("script", ["deploy/demo.sh", "deploy/test.sh", "deploy/setup.sh", ".ci/run"])
def test_scripts_are_readable_by_the_shell(script: str) -> None:
    subprocess.run(["bash", "-n", TOP / script], check=True)


def test_the_caution_is_the_same_everywhere() -> None:
    from geartender.caution import CAUTION

    readme = " ".join((TOP / "README.md").read_text().replace("\n>", "\n").split())
    assert CAUTION in readme
    templates = " ".join(" ".join(path.read_text() for path in (TOP / "web").rglob("templates/**/*.html")).split())
    assert CAUTION in templates
