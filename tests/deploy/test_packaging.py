"""What goes to a board: one wheel with everything in it, and a lock that pins it all."""

import re
import subprocess
import tomllib
import zipfile
from pathlib import Path

import pytest

from tests.deploy.wheels import build_wheel

TOP = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> zipfile.ZipFile:
    return zipfile.ZipFile(build_wheel(tmp_path_factory.mktemp("wheel")))


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


def locked(name: str) -> set[str]:
    """The packages that a lock pins, all of them with hashes, and no word of where they come from."""
    lock = (TOP / "deploy" / name).read_text()
    assert "://" not in lock
    assert not re.search("^-", lock, re.MULTILINE), "an option of the installer"
    assert all("--hash=sha256:" in block for block in re.split(r"\n(?=[a-z])", lock) if "==" in block)
    return set(re.findall(r"^([a-z0-9.-]+)==", lock, re.MULTILINE))


def names(requirements: list[str]) -> set[str]:
    return {re.split(r"[<>=;\[ ]", one)[0].lower().replace("_", "-") for one in requirements} - {"geartender"}


def test_the_locks_pin_every_dependency_and_name_no_host() -> None:
    project = tomllib.loads((TOP / "pyproject.toml").read_text())["project"]
    extras = project["optional-dependencies"]
    service = names([*project["dependencies"], *extras["firmware"], *extras["postgresql"]])
    assert service | names(extras["test"]) <= locked("requirements.lock")
    assert service <= locked("service.lock")
    assert locked("build.lock") >= {"hatchling"}


def test_what_goes_to_a_board_is_what_was_tested_and_no_test_tool() -> None:
    tested, service, build = (
        dict(re.findall(r"^([a-z0-9.-]+)==(\S+)", (TOP / "deploy" / name).read_text(), re.MULTILINE))
        for name in ("requirements.lock", "service.lock", "build.lock")
    )
    assert service.items() <= tested.items()
    assert build.items() <= tested.items()
    assert not service.keys() & {
        "pytest",
        "hypothesis",
        "playwright",
        "ruff",
        "mypy",
        "scipy",
        "control",
        "schemathesis",
    }


@pytest.mark.parametrize(
    "script", sorted(str(path.relative_to(TOP)) for path in [*TOP.glob("deploy/*.sh"), TOP / ".ci/run"])
)
def test_scripts_are_readable_by_the_shell(script: str) -> None:
    subprocess.run(["bash", "-n", TOP / script], check=True)


def test_the_caution_is_the_same_everywhere() -> None:
    from geartender.caution import CAUTION

    readme = " ".join((TOP / "README.md").read_text().replace("\n>", "\n").split())
    assert CAUTION in readme
    templates = " ".join(" ".join(path.read_text() for path in (TOP / "web").rglob("templates/**/*.html")).split())
    assert CAUTION in templates
