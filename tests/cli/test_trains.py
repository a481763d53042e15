import json
from pathlib import Path

import pytest

from geartender.build import figures, load_build
from geartender.build.trains import RULE, TrainRequest, find_trains
from geartender.cli.main import main
from geartender.cli.running import ridge_vent
from geartender.cli.trains import ShareDone

ASKED = (str(ridge_vent()), "--speed-deg-s", "90", "--torque-nm", "0.8")


def run(monkeypatch: pytest.MonkeyPatch, *arguments: str) -> int:
    monkeypatch.setattr("sys.argv", ["geartender", "trains", *arguments])
    try:
        main()
    except SystemExit as end:
        return end.code if isinstance(end.code, int) else 1
    return 0


def test_the_trains_stand_in_a_table_under_the_rule_that_ranks_them(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(monkeypatch, *ASKED, "--most", "3") == 0
    out, err = capsys.readouterr()
    lines = out.splitlines()
    found = find_trains(load_build(ridge_vent()), TrainRequest(speed_deg_s=90.0, torque_nm=0.8, most=3))
    first = found.items[0]
    assert lines[2].split()[:2] == ["1", f"{first.meshes[0].driver_teeth}/{first.meshes[0].driven_teeth}"]
    assert lines[2].split()[-1] == f"{first.torque_margin:.4g}"
    assert [line.split()[0] for line in lines[2:5]] == ["1", "2", "3"]
    assert " ".join(lines[6:9]).startswith(RULE[:100])
    assert max(map(len, lines)) <= 100
    assert err == ""


def test_every_option_reaches_the_search(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    options = ["--teeth", "14..70", "--meshes", "3", "--module", "0.8", "--module", "1.5", "--face-modules", "9"]
    options += ["--allowable-mpa", "21", "--efficiency", "0.93", "--bed", "101", "--most", "7", "--json"]
    assert run(monkeypatch, *ASKED, *options) == 0
    found = json.loads(capsys.readouterr().out)
    request = TrainRequest(
        speed_deg_s=90.0,
        torque_nm=0.8,
        fewest_teeth=14,
        most_teeth=70,
        most_meshes=3,
        modules_mm=[0.8, 1.5],
        face_modules=9.0,
        allowable_mpa=21.0,
        efficiency=0.93,
        bed_mm=101.0,
        most=7,
    )
    assert found == find_trains(load_build(ridge_vent()), request).model_dump(mode="json")
    assert len(found["items"]) == 7
    assert run(monkeypatch, *ASKED, "--face-mm", "6.5", "--most", "1", "--json") == 0
    widths = {mesh["face_mm"] for mesh in json.loads(capsys.readouterr().out)["items"][0]["meshes"]}
    assert widths == {6.5}


def test_a_train_is_saved_as_a_sheet_and_never_over_another_file(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    file = tmp_path / "second.toml"
    assert run(monkeypatch, *ASKED, "--save", "2", str(file), "--json") == 0
    out, err = capsys.readouterr()
    assert f"geartender figures {file}" in err
    saved, second = load_build(file), json.loads(out)["items"][1]
    assert float(figures(saved).gear_ratio) == second["gear_ratio"]
    assert saved.travel == load_build(ridge_vent()).travel
    before = file.read_bytes()
    assert run(monkeypatch, *ASKED, "--save", "1", str(file)) == 1
    assert "exists already" in capsys.readouterr().err
    assert file.read_bytes() == before
    assert run(monkeypatch, *ASKED, "--most", "2", "--save", "3", str(tmp_path / "third.toml")) == 1
    assert "There is no train 3" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == [file]


def test_no_train_is_said_with_the_reason_and_is_exit_code_1(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    hopeless = (str(ridge_vent()), "--speed-deg-s", "900", "--torque-nm", "8")
    assert run(monkeypatch, *hopeless) == 1
    out, err = capsys.readouterr()
    assert out == ""
    assert err.startswith("No train. The motor has not the power")
    assert run(monkeypatch, *hopeless, "--json") == 1
    out, err = capsys.readouterr()
    assert json.loads(out)["items"] == []
    assert json.loads(out)["none_because"] in err


def test_a_sheet_that_does_not_say_what_the_teeth_bear_needs_the_option(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    sheet = tmp_path / "bare.toml"
    sheet.write_text(ridge_vent().read_text().replace("allowable_mpa = 14", ""))
    asked = (str(sheet), *ASKED[1:], "--most", "1")
    assert run(monkeypatch, *asked) == 1
    assert capsys.readouterr().err.startswith("allowable_mpa: is missing")
    assert run(monkeypatch, *asked, "--allowable-mpa", "12") == 0


@pytest.mark.parametrize(
    "wrong",
    [
        ["--teeth", "12-80"],
        ["--teeth", "80..12"],
        ["--teeth", "6..80"],
        ["--teeth", "12..2000"],
        ["--meshes", "5"],
        ["--module", "0"],
        ["--torque-nm", "-1"],
        ["--speed-deg-s", "nan"],
        ["--efficiency", "1.1"],
        ["--save", "1"],
    ],
)
def test_wrong_usage_is_exit_code_2(monkeypatch: pytest.MonkeyPatch, wrong: list[str]) -> None:
    assert run(monkeypatch, *ASKED, *wrong) == 2


def test_the_share_done_is_shown_only_to_a_person_and_only_after_a_moment(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    now = 100.0
    monkeypatch.setattr("time.monotonic", lambda: now)
    monkeypatch.setattr("sys.stderr.isatty", lambda: True)
    shows = ShareDone()
    shows(0.1)
    assert capsys.readouterr().err == ""
    now = 101.5
    shows(0.42)
    shows(0.43)
    assert capsys.readouterr().err.strip() == "42% searched"
    now = 103.0
    monkeypatch.setattr("sys.stderr.isatty", lambda: False)
    shows(0.9)
    assert capsys.readouterr().err == ""
