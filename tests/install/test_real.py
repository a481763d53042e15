"""The real copying tool, the real firmware with its board file, a real MicroPython: installed over a real terminal, and greeted."""

from pathlib import Path

import pytest

from geartender.cli.firmware import patient
from geartender.firmware.version import VERSION
from geartender.install.conversation import Conversation
from geartender.install.files import shipped
from geartender.install.procedure import Installer, Report
from geartender.install.tool import CopyingTool
from tests.firmware.interpreter import micropython
from tests.install.real_board import RealBoard, real_board

pytest.importorskip("mpremote")


def install(board: RealBoard) -> Report:
    return Installer(CopyingTool(), Conversation(), patient, print, shipped(), VERSION, board.port).run()


@micropython
def test_an_empty_board_gets_the_firmware_and_answers_and_an_old_one_gets_what_differs(tmp_path: Path) -> None:
    with real_board(tmp_path) as board:
        report = install(board)
        assert (report.before, report.version) == (None, VERSION)
        assert set(report.copied) == set(shipped())
        for place, path in shipped().items():
            assert (board.files / place).read_bytes() == path.read_bytes()
        version = board.files / "firmware/version.py"
        version.write_text(version.read_text().replace(VERSION, "0.0.1"))
        (board.files / "firmware/old.py").write_text("x = 1\n")
        report = install(board)
        assert (report.copied, report.removed) == (("firmware/version.py",), ("firmware/old.py",))
        assert {path.name for path in board.files.iterdir()} == {"main.py", "firmware"}
        hello = Conversation().hello(board.port)
        assert hello is not None
        assert hello.version == VERSION
