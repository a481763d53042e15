import json
from itertools import chain
from pathlib import Path

import pytest

from geartender.build import figures, load_build
from geartender.cli.main import main
from geartender.cli.running import ridge_vent
from geartender.cli.wall_page import GROUPS, TABLES

CONFIG = '[[servo]]\nname = "vent"\nport = "/dev/null"\nbuild = "{build}"\n'


def run(monkeypatch: pytest.MonkeyPatch, *arguments: str) -> int:
    monkeypatch.setattr("sys.argv", ["geartender", *arguments])
    try:
        main()
    except SystemExit as end:
        return end.code if isinstance(end.code, int) else 1
    return 0


def test_figures_as_json_are_those_of_the_sheet(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(monkeypatch, "figures", "--json", str(ridge_vent())) == 0
    out, err = capsys.readouterr()
    assert json.loads(out) == figures(load_build(ridge_vent())).model_dump(mode="json")
    assert err == ""


def test_figures_on_the_wall_stand_in_groups_with_units_and_warnings_first(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(monkeypatch, "figures", str(ridge_vent())) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[0] == "First, on Ridge vent"
    assert lines[1].startswith("! At a stall the motor makes")
    at = [lines.index(title) for title in ("Counting", "At the output", "Meshes", "Notes")]
    assert at == sorted(at)
    stall = next(line for line in lines[at[1] :] if "Stall torque" in line)
    assert stall.split()[-2:] == ["15.13", "N·m"]
    limits = next(line for line in lines if "Bears, at the output" in line).split()
    assert limits[-5:] == ["40.1", "19.2", "9.92", "8.081", "N·m"]
    shortest = next(line for line in lines if "Shortest time of a count" in line).split()
    assert shortest[-2:] == ["0.8328", "ms"]
    assert max(map(len, lines)) <= 100


def test_the_wall_page_leaves_out_no_figure_but_the_curves() -> None:
    found = figures(load_build(ridge_vent())).model_dump(mode="json")
    shown = {*chain.from_iterable(GROUPS.values()), *TABLES, "heat", "pulse", "meshes", "warnings", "notes"}
    assert set(found) - shown == {"curve"}
    assert shown <= set(found)


def test_several_sheets_stand_side_by_side_with_what_differs_marked(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    other = tmp_path / "other.toml"
    text = ridge_vent().read_text().replace('name = "Ridge vent"', 'name = "Other"')
    swapped = text.replace("driver_teeth = 12\ndriven_teeth = 58", "driver_teeth = 24\ndriven_teeth = 58")
    assert swapped != text
    other.write_text(swapped)
    assert run(monkeypatch, "figures", str(ridge_vent()), str(other)) == 0
    lines = capsys.readouterr().out.splitlines()
    assert any(line.split() == ["Ridge", "vent", "Other"] for line in lines)

    def values(label: str) -> list[str]:
        return next(line for line in lines if line.strip().startswith(label)).removeprefix("  " + label).split()

    speed = values("No-load speed")
    assert float(speed[1]) == pytest.approx(2 * float(speed[0]), rel=1e-3)
    assert speed[-1] == "≠"
    torque = values("Stall torque")
    assert float(torque[0]) == pytest.approx(2 * float(torque[1]), rel=1e-3)
    assert values("Counts per motor turn") == ["16", "16"]
    assert values("Angle of one count")[-1] == "≠"
    assert values("Root stress at a stall")[-1] == "≠"


def test_the_wiring_is_a_line_for_each_pin_and_a_drawing(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    target = tmp_path / "vent.svg"
    assert run(monkeypatch, "wiring", str(ridge_vent()), "--svg", str(target)) == 0
    out, _ = capsys.readouterr()
    assert "→ GPIO 2   470 Ω in series" in out
    assert "not an emergency stop" in out
    assert target.read_text().startswith("<svg")
    assert run(monkeypatch, "wiring", str(ridge_vent()), "--svg", str(target)) == 1
    assert "vent.svg: File exists" in capsys.readouterr().err


def test_a_wrong_sheet_is_told_line_by_line(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    wrong = tmp_path / "wrong.toml"
    wrong.write_text(
        ridge_vent().read_text().replace("driven_teeth = 58", "driven_teeth = 0").replace("[home]", "[hoem]")
    )
    assert run(monkeypatch, "figures", str(wrong)) == 1
    out, err = capsys.readouterr()
    assert out == ""
    assert "mesh[0].driven_teeth" in err
    assert "hoem" in err
    assert run(monkeypatch, "figures", str(tmp_path / "none.toml")) == 1
    assert "cannot be read" in capsys.readouterr().err


def test_a_configuration_in_order(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    file = tmp_path / "g.toml"
    file.write_text(CONFIG.format(build=ridge_vent()))
    assert run(monkeypatch, "config", "check", str(file), "--json") == 0
    assert json.loads(capsys.readouterr().out) == {
        "servos": ["vent"],
        "host": "127.0.0.1",
        "port": 8350,
        "notes": ["service: without data_dir nothing is kept over a restart"],
    }


def test_a_configuration_with_mistakes(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    file = tmp_path / "g.toml"
    file.write_text('[service]\nprot = 1\n[[servo]]\nname = "vent"\n')
    assert run(monkeypatch, "config", "check", str(file)) == 1
    out, err = capsys.readouterr()
    assert out == ""
    assert len(err.splitlines()) == 3


@pytest.mark.parametrize(
    "arguments", [["nothing"], ["move"], ["move", "north"], ["stop", "--category", "5"], ["figures"], ["config"]]
)
def test_wrong_usage_is_exit_code_2(monkeypatch: pytest.MonkeyPatch, arguments: list[str]) -> None:
    assert run(monkeypatch, *arguments) == 2


def test_nobody_there_is_exit_code_3(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(monkeypatch, "status", "--url", "http://127.0.0.1:9", "--json") == 3
    out, err = capsys.readouterr()
    assert out == ""
    assert "no answer from http://127.0.0.1:9" in err
