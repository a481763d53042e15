"""Installing on boards that are folders, with a tool that is a program: only what differs, and a way back from every failure."""

from __future__ import annotations

import io
import shutil
import sys
from collections.abc import Callable, Sequence
from contextlib import redirect_stderr, redirect_stdout
from pathlib import Path

import pytest

from geartender import firmware
from geartender.errors import InstallError, NoAnswer, TwoBoards
from geartender.install.files import changes, shipped
from geartender.install.procedure import MAINTAIN, TRIAL, TRIED, Installer, Report
from geartender.install.tool import CopyingTool
from geartender.link.lines import Hello
from tests.install import fake_tool

MAIN = (Path(firmware.__file__).parent / "main.py").read_text()
TRIAL_S = 20.0


class InProcess(CopyingTool):
    """The tool, its program run within this process: the same words in, the same output and failures out."""

    def __init__(self, world: Path) -> None:
        super().__init__(["unused"])
        self._world = world

    def _run(self, words: Sequence[str], seconds: float) -> str:
        out, err = io.StringIO(), io.StringIO()
        try:
            with redirect_stdout(out), redirect_stderr(err):
                fake_tool.run(self._world, list(words))
        except (SystemExit, OSError) as error:
            raise InstallError(f"The copying tool failed: {err.getvalue().strip() or error}") from error
        return out.getvalue()


class Bench:
    """Boards and files of a firmware, old on the board and new to be installed; `port` as the command line gives it."""

    def __init__(self, folder: Path) -> None:
        self.world, self.new = folder / "world", folder / "new"
        self.world.mkdir()
        self.said: list[str] = []
        self.firmware(self.new, "2.0", "good")
        (self.new / "extra.py").write_text("new = 1")
        self.tool: CopyingTool = InProcess(self.world)
        self.waited = 0.0

    def firmware(self, folder: Path, version: str, kind: str) -> None:
        folder.mkdir(parents=True, exist_ok=True)
        (folder / "version.py").write_text(version)
        (folder / "board.py").write_text(kind)
        (folder / "same.py").write_text("the same in both")

    def board(self, name: str = "ttyACM0", *, empty: bool = False) -> Path:
        """A board with an old firmware that runs, or one with nothing on it."""
        board = self.world / name
        board.mkdir()
        if not empty:
            self.firmware(board / "firmware", "1.0", "good")
            (board / "firmware" / "gone.py").write_text("old = 1")
            (board / "main.py").write_text(MAIN)
            (board / "kept-a.txt").write_text("settings")
        fake_tool.boot(board)
        return board

    def install(self, port: str | None = None) -> Report:
        want = {**shipped(self.new), "main.py": Path(firmware.__file__).parent / "main.py"}
        return Installer(self.tool, self, self.patience, self.said.append, want, "2.0", port).run()

    # The link

    def hello(self, port: str) -> Hello | None:
        board = self.world / port.removeprefix("/dev/")
        state = board.with_suffix(".state")
        if not state.exists() or state.read_text() != "good":
            return None
        (board / TRIED).unlink(missing_ok=True)
        version = (board / "firmware/version.py").read_text()
        return Hello("0", 3, version, "board", "boot", homed=False, known=0, cause="none", settings="0")

    def put_to_rest(self, port: str) -> Hello | None:
        board = self.world / port.removeprefix("/dev/")
        hello = self.hello(port)
        if hello is not None:
            (board / MAINTAIN).touch()
            fake_tool.boot(board)
        return hello

    # Time

    def patience(self, condition: Callable[[], bool], seconds: float) -> bool:
        for _ in range(round(seconds)):
            if condition():
                return True
            self.waited += 1.0
            if self.waited % TRIAL_S == 0:  # firmware that is on trial and not greeted starts anew
                for state in self.world.glob("*.state"):
                    if state.with_suffix("").joinpath(TRIED).exists():
                        fake_tool.boot(state.with_suffix(""))
        return False


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    return Bench(tmp_path)


def files(board: Path) -> dict[str, str]:
    return {str(path.relative_to(board)): path.read_text() for path in sorted(board.rglob("*")) if path.is_file()}


def test_what_differs_is_told_by_sums_and_main_comes_last(tmp_path: Path) -> None:
    for name in ("a.py", "b.py", "main.py"):
        (tmp_path / name).write_text(name)
    want = shipped(tmp_path)
    assert list(want) == ["firmware/a.py", "firmware/b.py", "main.py"]
    todo = changes({"firmware/b.py": "other", "firmware/c.py": "x", "main.py": "other"}, want)
    assert todo.copied == ("firmware/a.py", "firmware/b.py", "main.py")
    assert todo.removed == ("firmware/c.py",)
    assert todo.added == ("firmware/a.py",)
    assert todo.replaced == ("firmware/b.py", "main.py", "firmware/c.py")


def test_the_packages_own_files_are_all_of_the_firmware() -> None:
    places = shipped()
    assert {"main.py", "firmware/__init__.py", "firmware/board.py", "firmware/tick.py"} <= set(places)
    assert all(place == "main.py" or place.startswith("firmware/") for place in places)


def test_only_what_differs_is_copied_what_is_gone_is_removed_and_the_rest_stays(bench: Bench) -> None:
    board = bench.board()
    report = bench.install()
    assert (report.port, report.before, report.version) == ("/dev/ttyACM0", "1.0", "2.0")
    assert report.copied == ("firmware/extra.py", "firmware/version.py")
    assert report.removed == ("firmware/gone.py",)
    held = files(board)
    assert held["firmware/version.py"] == "2.0"
    assert held["kept-a.txt"] == "settings"
    assert not {MAINTAIN, TRIAL, TRIED} & set(held)
    assert bench.hello("/dev/ttyACM0") is not None


def test_the_tool_is_a_program_whose_failure_is_told_in_its_words(bench: Bench) -> None:
    bench.board(empty=True)
    bench.tool = CopyingTool([sys.executable, "-IS", str(Path(fake_tool.__file__)), str(bench.world)])
    assert set(bench.install().copied) == set(files(bench.world / "ttyACM0"))
    with pytest.raises(InstallError, match="may be in use by another program"):
        bench.tool.sums("/dev/ttyACM3")
    with pytest.raises(InstallError, match="cannot be run"):
        CopyingTool(["/nonexistent/tool"]).boards()


def test_the_same_again_copies_nothing(bench: Bench) -> None:
    bench.board()
    bench.install()
    report = bench.install()
    assert (report.copied, report.removed, report.before) == ((), (), "2.0")


def test_a_board_with_nothing_on_it_gets_everything(bench: Bench) -> None:
    board = bench.board(empty=True)
    report = bench.install()
    assert report.before is None
    assert set(report.copied) == set(files(board))
    assert bench.hello("/dev/ttyACM0") is not None


def test_no_board_two_boards_and_a_port_that_is_not_there(bench: Bench) -> None:
    with pytest.raises(InstallError, match="No board is found"):
        bench.install()
    bench.board("ttyACM0")
    bench.board("ttyACM1")
    with pytest.raises(TwoBoards, match=r"ttyACM0, /dev/ttyACM1.*--port"):
        bench.install()
    assert bench.install("/dev/ttyACM1").port == "/dev/ttyACM1"
    with pytest.raises(InstallError, match="answers neither"):
        bench.install("/dev/ttyACM7")


@pytest.mark.parametrize("copies", range(4))
def test_a_tool_that_dies_half_way_leaves_a_board_at_rest_and_the_same_again_finishes(
    bench: Bench, copies: int
) -> None:
    board = bench.board()
    (bench.world / "die.txt").write_text(str(copies))
    with pytest.raises(InstallError, match=r"starts nothing. Run this command again"):
        bench.install()
    assert MAINTAIN in files(board)
    assert bench.hello("/dev/ttyACM0") is None
    (bench.world / "die.txt").unlink()
    bench.install()
    assert files(board)["firmware/version.py"] == "2.0"
    assert bench.hello("/dev/ttyACM0") is not None


def test_a_tool_that_fails_once_brings_the_old_files_back(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    board = bench.board()
    before = files(board)
    put, failed = bench.tool.put, []

    def once(port: str, given: dict[str, Path]) -> None:
        put(port, given)
        if not failed:
            failed.append(port)
            raise InstallError("The copying tool failed: no space left.")

    monkeypatch.setattr(bench.tool, "put", once)
    with pytest.raises(InstallError, match=r"no space left. The old files are back"):
        bench.install()
    assert files(board) == before
    assert bench.hello("/dev/ttyACM0") is not None


@pytest.mark.parametrize("kind", ["broken", "silent"])
def test_new_firmware_that_does_not_answer_gives_way_to_the_old(bench: Bench, kind: str) -> None:
    board = bench.board()
    before = files(board)
    (bench.new / "board.py").write_text(kind)
    with pytest.raises(NoAnswer, match=r"does not answer. The old files are back, and answer as 1.0"):
        bench.install()
    assert files(board) == before


def test_new_firmware_of_another_version_gives_way_to_the_old(bench: Bench) -> None:
    board = bench.board()
    before = files(board)
    (bench.new / "version.py").write_text("3.0")
    with pytest.raises(NoAnswer, match=r"says it is 3.0, not 2.0. The old files are back, and answer as 1.0"):
        bench.install()
    assert files(board) == before


def test_a_new_board_whose_firmware_fails_says_that_nothing_starts(bench: Bench) -> None:
    bench.board(empty=True)
    (bench.new / "board.py").write_text("broken")
    with pytest.raises(NoAnswer, match="There was none before"):
        bench.install()


def test_a_board_that_comes_back_under_another_name_is_found_by_its_number(bench: Bench) -> None:
    board = bench.board()
    rest = bench.put_to_rest

    def and_rename(port: str) -> Hello | None:
        hello = rest(port)
        shutil.move(board, bench.world / "ttyACM5")
        return hello

    bench.put_to_rest = and_rename  # type: ignore[method-assign]
    listed = bench.tool.boards

    def with_number() -> list[object]:
        return [type(one)(one.path, "number") for one in listed()]

    bench.tool.boards = with_number  # type: ignore[method-assign, assignment]
    assert bench.install().port == "/dev/ttyACM5"


def test_files_that_were_changed_by_somebody_are_put_right(bench: Bench) -> None:
    board = bench.board()
    bench.install()
    (board / "firmware/extra.py").write_text("spoilt")
    (board / "firmware/stranger.py").write_text("?")
    report = bench.install()
    assert (report.copied, report.removed) == (("firmware/extra.py",), ("firmware/stranger.py",))


def test_a_lost_tool_is_said_with_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("geartender.install.tool.find_spec", lambda name: None)
    with pytest.raises(InstallError, match=r"geartender\[firmware\]"):
        CopyingTool()
