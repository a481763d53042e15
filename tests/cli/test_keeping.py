"""journal, notices, backup and restore against a real demo that keeps what it has in a folder."""

from __future__ import annotations

import json
import zipfile
from collections.abc import Iterator
from pathlib import Path

import pytest

from geartender.cli import keeping
from tests.cli.demo import Demo, demo

ENTRY = {
    "id": 7,
    "at": "2031-07-01T05:00:00Z",
    "zone": "Europe/Lisbon",
    "servo": "vent",
    "who": "Anna",
    "via": "person",
    "text": "move to 30°",
    "result": "done",
    "reason": None,
    "figures": {"actual_s": 4.21},
}


@pytest.mark.parametrize(
    ("changes", "line"),
    [
        ({}, "2031-07-01 06:00:00  vent: move to 30° by Anna, done in 4.2 s"),
        ({"result": None}, "2031-07-01 06:00:00  vent: move to 30° by Anna…"),
        (
            {"result": "faulted", "reason": "too much"},
            "2031-07-01 06:00:00  vent: move to 30° by Anna, faulted (too much)",
        ),
        (
            {"text": "armed by Anna", "figures": {}, "zone": "Nowhere/Else"},
            "2031-07-01 05:00:00  vent: armed by Anna",
        ),
        (
            {
                "text": "the disk keeps things again",
                "servo": None,
                "via": "service",
                "who": "the service",
                "figures": {},
            },
            "2031-07-01 06:00:00  the disk keeps things again",
        ),
    ],
)
def test_an_entry_reads_as_a_line(changes: dict[str, object], line: str) -> None:
    assert keeping.entry_line({**ENTRY, **changes}) == line


@pytest.fixture(scope="module")
def data(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("data")


@pytest.fixture(scope="module")
def running(data: Path) -> Iterator[Demo]:
    with demo("--seed", "7", "--data", str(data)) as one:
        yield one


def test_backup_and_restore_and_what_the_journal_says_of_it(running: Demo, data: Path, tmp_path: Path) -> None:
    file = tmp_path / "all.zip"
    saved = running.run("backup", str(file), "--json")
    assert (saved.returncode, json.loads(saved.stdout)["bytes"]) == (0, file.stat().st_size)
    with zipfile.ZipFile(file) as archive:
        assert archive.testzip() is None
    assert not list(tmp_path.glob("*.part"))
    asked = running.run("restore", str(file))
    assert (asked.returncode, "--yes" in asked.stderr) == (2, True)
    restored = running.run("restore", str(file), "--yes")
    assert (restored.returncode, restored.stdout.startswith("Restored ")) == (0, True), restored.stderr
    told = running.run("journal", "--kind", "restore")
    assert (told.returncode, told.stdout.count("\n"), "Restored from a backup" in told.stdout) == (0, 1, True)
    assert "put it aside" in running.run("notices").stdout
    assert (data / "geartender.db.before-restore").exists()


def test_a_second_service_on_the_same_folder_says_so_and_ends(running: Demo, data: Path) -> None:
    second = running.run("demo", "--port", "0", "--data", str(data))
    assert (second.returncode, second.stdout, "Traceback" in second.stderr) == (1, "", False)
    assert "Another service uses" in second.stderr


def test_restoring_what_is_no_archive_is_refused(running: Demo, tmp_path: Path) -> None:
    file = tmp_path / "none.zip"
    file.write_text("nothing of the kind")
    refused = running.run("restore", str(file), "--yes")
    assert (refused.returncode, "Nothing was changed" in refused.stderr) == (4, True)
    assert running.run("restore", str(tmp_path / "missing.zip"), "--yes").returncode == 2


def test_the_journal_is_followed_entry_by_entry(running: Demo) -> None:
    assert running.run("arm").returncode == 0
    filters = ("--kind", "home", "--kind", "arm")
    with running.begun("journal", "--follow", "--json", *filters, "--limit", "1") as following:
        assert following.stdout is not None
        assert json.loads(following.stdout.readline())["kind"] == "arm"
        assert running.run("home").returncode == 0
        lines = [json.loads(following.stdout.readline()) for _ in range(2)]
    assert {line["text"] for line in lines} == {"find the home mark"}
    assert lines[-1]["result"] == "done"
