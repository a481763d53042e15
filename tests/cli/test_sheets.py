import json
from pathlib import Path

import pytest

from geartender.build import figures, load_build
from geartender.cli.main import main
from geartender.cli.running import ridge_vent

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


def test_figures_on_the_wall_name_every_figure_with_its_unit(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(monkeypatch, "figures", str(ridge_vent())) == 0
    out = capsys.readouterr().out
    assert "Output stall torque" in out
    assert "N·m" in out
    assert "Gear ratio" in out


def test_several_sheets_stand_side_by_side(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    other = tmp_path / "other.toml"
    other.write_text(
        ridge_vent()
        .read_text()
        .replace('name = "Ridge vent"', 'name = "Other"')
        .replace("no_load_rpm = 4600", "no_load_rpm = 2300")
    )
    assert run(monkeypatch, "figures", str(ridge_vent()), str(other)) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[0].split() == ["Ridge", "vent", "Other"]
    rate = next(line for line in lines if line.startswith("Count rate")).split()
    assert float(rate[2]) == pytest.approx(2 * float(rate[3]), rel=1e-3)


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
    assert json.loads(capsys.readouterr().out) == {"servos": ["vent"], "host": "127.0.0.1", "port": 8350}


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
