"""The table of security requirements: every test that it names is there, and what it says about the source is so."""

import ast
import re
from pathlib import Path

TOP = Path(__file__).parents[2]
TABLE = (TOP / "deploy/SECURITY.md").read_text()
ROWS = [
    [cell.strip() for cell in line.strip("|").split("|")] for line in TABLE.splitlines() if re.match(r"\| \d", line)
]
NAMED = sorted(set(re.findall(r"`(tests/[\w/]+\.py)::(\w+)`", TABLE)))
CHAPTERS = 17
"""Of the standard."""

MARKUP = ("innerHTML", "outerHTML", "insertAdjacentHTML", "document.write")


def modules() -> list[Path]:
    """Python files that run in the service or beside it; the firmware runs elsewhere."""
    return [path for path in (TOP / "server").rglob("*.py") if "firmware" not in path.parts]


def test_every_test_it_names_is_there() -> None:
    there = {
        (file, node.name)
        for file in {file for file, _ in NAMED}
        for node in ast.walk(ast.parse((TOP / file).read_text()))
        if isinstance(node, ast.FunctionDef)
    }
    assert [named for named in NAMED if named not in there] == []


def test_every_line_has_a_verdict_and_something_that_shows_it() -> None:
    assert len(ROWS) > 60
    for numbers, _, verdict, shown_by in ROWS:
        assert re.match(r"(meets|partly|no)\b", verdict), numbers
        assert re.search(r"`tests/[\w/]+\.py::\w+`", shown_by), numbers
        assert verdict.startswith("meets") or ":" in verdict, f"{numbers}: a deviation says its reason"


def test_no_requirement_has_two_verdicts() -> None:
    numbers = [number for row in ROWS for number in re.findall(r"\d+\.\d+\.\d+", row[0])]
    assert sorted(numbers) == sorted(set(numbers))


def test_every_chapter_is_spoken_of() -> None:
    spoken = {int(number) for row in ROWS for number in re.findall(r"(\d+)\.\d+\.\d+", row[0])}
    left_out = TABLE.split("## Without a subject here")[1]
    spoken |= {
        int(number)
        for number in re.findall(r"(?:chapters|and) (\d+)(?= \()|, (\d+)(?= \()", left_out)
        for number in number
        if number
    }
    assert spoken == set(range(1, CHAPTERS + 1))


def test_the_deviations_of_a_device_on_a_home_network_are_named() -> None:
    named = TABLE.split("## What a device on a home network cannot do")[1].split("\n## ")[0]
    for number in ("12.2.1", "12.2.2", "12.3.1", "3.3.1", "3.3.3", "3.4.1", "4.4.1"):
        assert number in named


def test_the_page_makes_no_markup_out_of_text() -> None:
    for path in (TOP / "web/static").rglob("*.js"):
        assert not [word for word in MARKUP if word in path.read_text()], path


def test_nothing_is_evaluated() -> None:
    calls = [
        f"{path}:{node.lineno}"
        for path in modules()
        for node in ast.walk(ast.parse(path.read_text()))
        if isinstance(node, ast.Call)
        and isinstance(node.func, ast.Name)
        and node.func.id in ("eval", "exec", "compile")
    ]
    assert calls == []


def test_no_program_is_started_through_a_shell() -> None:
    for path in modules():
        text = path.read_text()
        assert not re.search(r"shell\s*=\s*True|os\.system\(|os\.popen\(|create_subprocess_shell", text), path
