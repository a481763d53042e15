"""PROTOCOL.md against the code of both sides: what stands on the page and not in the code, or the other way round, fails."""

from __future__ import annotations

import re
from dataclasses import fields
from pathlib import Path

import geartender.link
from geartender.firmware import names, plan
from geartender.firmware import settings as firmware_settings
from geartender.firmware import verbs as firmware_verbs
from geartender.firmware.core import REPLIES_KEPT, Core
from geartender.firmware.lines import LINE_MAX as FIRMWARE_LINE_MAX
from geartender.firmware.version import PROTOCOL
from geartender.link import lines
from geartender.link.exchange import WINDOW
from geartender.servo.settings import ORDER

PAGE = (Path(geartender.link.__file__).parent / "PROTOCOL.md").read_text(encoding="utf-8")


def rows(heading: str, nth: int = 0) -> list[list[str]]:
    """Cells of the n-th table under a heading, without its head, code marks taken off."""
    section = PAGE.split(f"## {heading}\n")[1].split("\n## ")[0]
    tables = re.findall(r"(?:^\|.*\n)+", section, re.MULTILINE)
    lines_of_table = tables[nth].strip().split("\n")[2:]
    return [[_plain(cell) for cell in line.strip("|").split("|")] for line in lines_of_table]


def _plain(cell: str) -> str:
    """A cell's text; marks around the whole of it are taken off."""
    text = cell.strip()
    return text[1:-1] if re.fullmatch(r"`[^`]+`", text) else text


def words(text: str) -> list[str]:
    return re.findall(r"`([^`]+)`", text)


def source(*modules: str) -> str:
    folder = Path(firmware_verbs.__file__).parent
    return "".join((folder / f"{module}.py").read_text(encoding="utf-8") for module in modules)


def test_the_verbs_and_their_fields_are_those_of_both_sides() -> None:
    table = {row[0]: row[1].split() for row in rows("Requests and replies")}
    stop = table.pop("stop")
    assert stop == ["category", "number"]
    firmware = firmware_verbs.Verbs(Core("b", "x"))
    assert set(table) == set(lines.VERBS) == {*firmware.names(), "hello"}
    for verb, named in table.items():
        count = None if verb == "set" else len(named)
        assert lines.VERBS[verb] == count, verb
        if verb not in ("hello", "set", "show"):
            assert firmware._table[verb][1] == count, verb


def test_the_reasons_are_those_of_both_sides() -> None:
    page = [row[0] for row in rows("Requests and replies", 1)]
    assert sorted(page) == sorted(lines.REASONS)
    code = source("core", "verbs", "plan", "settings", "lead")
    for reason in page:
        assert re.search(rf'["( ]{reason}[" %]', code), f"the firmware never says {reason}"
    said = set(re.findall(r'Refusal\("([a-z]+)"', code)) | set(re.findall(r'"(?:%d )?no ([a-z]+)', code))
    assert said <= set(page)


def test_telemetry_is_that_of_both_sides() -> None:
    shown = PAGE.split("`~ ")[1].split("`")[0].split()
    assert shown == [field.name for field in fields(lines.Telemetry)] == [row[0] for row in rows("Telemetry")]
    described = {row[0]: row[1] for row in rows("Telemetry")}
    assert sorted(words(described["state"])) == sorted(lines.STATES) == sorted(names.LABELS)
    assert words(described["source"]) == list(lines.SOURCES) == list(names.SOURCES)
    assert sorted(words(described["how"])) == sorted(lines.ENDINGS) == sorted(names.HOWS)


def test_the_events_are_those_of_both_sides() -> None:
    page = [row[0] for row in rows("Events")]
    assert sorted(page) == sorted(lines.EVENTS)
    assert set(re.findall(r'_event\("([a-z]+)"', source("core"))) == set(page)


def test_the_causes_are_those_of_both_sides() -> None:
    page = [row[0] for row in rows("Fault causes")]
    assert sorted(page) == sorted(lines.CAUSES)
    assert sorted(names.CAUSES) == sorted([*page, "none"])


def test_the_settings_their_order_and_their_ranges_are_those_of_both_sides() -> None:
    page = [
        (row[0], *map(int, row[1].split(".."))) for row in [row for nth in range(4) for row in rows("Settings", nth)]
    ]
    assert page == [tuple(row) for row in firmware_settings.ALL]
    assert [row[0] for row in page] == list(ORDER)


def test_the_numbers_in_the_text_are_those_of_both_sides() -> None:
    assert f"at most {lines.LINE_MAX} bytes" in PAGE
    assert lines.LINE_MAX == FIRMWARE_LINE_MAX
    assert f"Protocol version: {lines.PROTOCOL_VERSION}." in PAGE
    assert lines.PROTOCOL_VERSION == PROTOCOL
    assert f"at most {WINDOW} requests" in PAGE
    assert f"among the last {REPLIES_KEPT}" in PAGE
    assert f"holds ({plan.PIECES_MAX})" in PAGE
    assert lines.CLOCK_SPAN == 2**30
