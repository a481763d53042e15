"""run, sequences and timetable against a real demo."""

import json
import signal
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from geartender.client import Client
from geartender.errors import Busy, Stale
from tests.cli.demo import Demo, demo

AIR = {"note": "Airs the house.", "steps": [{"do": "move", "to_deg": 4}, {"do": "wait", "for_s": 0.5}]}


@pytest.fixture(scope="module")
def running() -> Iterator[Demo]:
    with demo("--seed", "7") as one:
        end = time.monotonic() + 20
        while one.run("arm").returncode != 0:
            assert time.monotonic() < end
        assert one.run("home").returncode == 0
        yield one


def test_from_a_file_to_a_run(running: Demo, tmp_path: Path) -> None:
    file = tmp_path / "air.json"
    file.write_text(json.dumps(AIR))
    assert running.run("sequences", "list").stdout == "none\n"
    assert running.run("sequences", "put", "air", str(file)).returncode == 0
    again = running.run("sequences", "put", "air", str(file))
    assert (again.returncode, again.stdout) == (4, "")
    assert "exists already" in again.stderr
    assert running.run("sequences", "put", "air", str(file), "--replace").returncode == 0
    assert running.run("sequences", "list").stdout == "air: 2 steps, Airs the house.\n"
    assert json.loads(running.run("sequences", "show", "air").stdout) == AIR
    preview = running.run("sequences", "preview", "air")
    assert preview.stdout.startswith("takes ")
    assert "vent: S2 " in preview.stdout
    ran = running.run("run", "air", "--watch")
    assert ran.returncode == 0, ran.stderr
    assert ran.stdout.startswith("air: done after ")
    assert "1. steps[0] move done at 4" in ran.stderr
    report = json.loads(running.run("run", "air", "--json").stdout)
    assert (report["state"], report["steps_begun"]) == ("done", 2)


def test_mistakes_and_refusals_have_their_words_and_codes(running: Demo, tmp_path: Path) -> None:
    file = tmp_path / "far.json"
    file.write_text(json.dumps({"steps": [{"do": "move", "to_deg": 400}, {"do": "run", "sequence": "no"}]}))
    wrong = running.run("sequences", "put", "far", str(file))
    assert wrong.returncode == 4
    assert "steps[0]" in wrong.stderr
    assert "steps[1].sequence" in wrong.stderr
    file.write_text("{")
    assert running.run("sequences", "put", "far", str(file)).returncode == 2
    assert running.run("run", "nothing").returncode == 4


def test_interrupting_a_run_ends_it(running: Demo) -> None:
    with Client(running.url) as client:
        client.sequences.replace("long", {"steps": [{"do": "wait", "for_s": 600}]})
        with running.begun("run", "long") as command:
            end = time.monotonic() + 20
            while client.servo("vent").status()["run"] is None:
                assert time.monotonic() < end
            with pytest.raises(Busy):
                client.runs.start("long")
            command.send_signal(signal.SIGINT)
            assert command.wait(20) == 130
        assert client.runs.list("long")[0]["state"] == "stopped"


def test_the_timetable_from_a_file(running: Demo, tmp_path: Path) -> None:
    with Client(running.url) as client:
        client.sequences.replace("air", AIR)
        file = tmp_path / "dawn.json"
        file.write_text(json.dumps({"sequence": "air", "sun": "rise", "offset_min": 30}))
        assert running.run("timetable", "put", "dawn", str(file)).returncode == 0
        assert running.run("timetable", "list").stdout.startswith("dawn: air, next 20")
        assert len(running.run("timetable", "next", "dawn").stdout.splitlines()) == 10
        document, tag = client.timetable.get("dawn")
        client.timetable.put("dawn", {**document, "enabled": False}, tag)
        with pytest.raises(Stale):
            client.timetable.put("dawn", document, tag)
        assert running.run("timetable", "delete", "dawn").returncode == 0
        assert running.run("timetable", "list").stdout == "none\n"
