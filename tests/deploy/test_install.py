"""deploy/install.sh on a clean root: files, rights and units as promised; again; and off."""

import re
import subprocess
from pathlib import Path

import pytest

from geartender.config import load_settings
from geartender.errors import ConfigError
from tests.deploy.board import Board, plain_environment
from tests.deploy.wheels import build_wheel

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return build_wheel(tmp_path_factory.mktemp("wheel"))


@pytest.fixture(scope="module")
def board(tmp_path_factory: pytest.TempPathFactory, wheel: Path) -> Board:
    one = Board(tmp_path_factory.mktemp("board"))
    done = one.install("--wheel", wheel)
    assert done.returncode == 0, done.stderr
    return one


def number(board: Board, file: str, name: str) -> int:
    (line,) = [line for line in (board.root / f"etc/{file}").read_text().splitlines() if line.startswith(f"{name}:")]
    return int(line.split(":")[2])


def test_it_has_a_user_of_its_own_that_cannot_log_in_and_may_use_serial_ports(board: Board) -> None:
    assert re.search(
        r"^geartender:x:\d+:\d+:Geartender:/var/lib/geartender:/usr/sbin/nologin$",
        (board.root / "etc/passwd").read_text(),
        re.MULTILINE,
    )
    assert re.search(r"^dialout:x:\d+:geartender$", (board.root / "etc/group").read_text(), re.MULTILINE)


@pytest.mark.parametrize(
    ("place", "rights", "owner", "group"),
    [
        ("etc/geartender", "0o40750", "root", "geartender"),
        ("etc/geartender/geartender.toml", "0o100640", "root", "geartender"),
        ("var/lib/geartender", "0o40700", "geartender", "geartender"),
        ("etc/systemd/system/geartender.service", "0o100644", "root", "root"),
        ("etc/systemd/system/geartender-clock.service", "0o100644", "root", "root"),
        ("etc/udev/rules.d/70-geartender.rules", "0o100644", "root", "root"),
        ("etc/avahi/services/geartender.service", "0o100644", "root", "root"),
        ("etc/sysusers.d/geartender.conf", "0o100644", "root", "root"),
    ],
)
def test_files_and_rights_are_as_promised(board: Board, place: str, rights: str, owner: str, group: str) -> None:
    mode, uid, gid, *_ = board.tree()[place]
    wanted = [
        0 if name == "root" else number(board, file, name) for file, name in (("passwd", owner), ("group", group))
    ]
    assert (mode, uid, gid) == (rights, *wanted)


def test_nobody_but_root_can_change_the_program(board: Board) -> None:
    for place, (mode, uid, *_) in board.tree().items():
        if place.startswith("opt/") and not mode.startswith("0o12"):  # a link has no rights of its own
            assert (uid, int(str(mode), 8) & 0o022) == (0, 0), place


def test_the_service_starts_with_the_system_and_the_command_is_in_the_path(board: Board) -> None:
    tree = board.tree()
    assert "etc/systemd/system/multi-user.target.wants/geartender.service" in tree
    assert tree["usr/local/bin/geartender"][-1] == "/opt/geartender/current/bin/geartender"
    assert board.in_force.startswith("0.1.0-")


def test_nothing_in_it_names_the_folder_that_it_was_installed_in(board: Board) -> None:
    bin_folder = board.root / "opt/geartender/current/bin"
    for file in (*bin_folder.iterdir(), bin_folder.parent / "pyvenv.cfg"):
        if not file.is_symlink():
            assert str(board.root).encode() not in file.read_bytes(), file
    assert (bin_folder / "geartender").read_text().startswith(f"#!/opt/geartender/{board.in_force}/bin/python")


def test_the_configuration_waits_for_its_servo(board: Board) -> None:
    with pytest.raises(ConfigError, match="at least one servo"):
        load_settings(board.root / "etc/geartender/geartender.toml")


def test_the_command_works_and_is_the_installed_one(board: Board) -> None:
    assert "serve" in board.command("--help").stdout
    checked = board.command("config", "check", board.root / "etc/geartender/geartender.toml")
    assert (checked.returncode, "at least one servo" in checked.stderr) == (1, True)
    python = board.root / "opt/geartender/current/bin/python"
    asked = [python, "-c", "import geartender; print(geartender.__file__)"]
    place = subprocess.run(asked, env=plain_environment(), capture_output=True, text=True, check=True)
    assert place.stdout.startswith(str(board.root))


def test_a_second_run_changes_nothing(board: Board, wheel: Path) -> None:
    before = board.tree()
    done = board.install("--wheel", wheel)
    assert done.returncode == 0, done.stderr
    assert board.tree() == before


def test_the_socket_variant_comes_and_goes(board: Board, wheel: Path) -> None:
    before = set(board.tree())
    assert board.install("--wheel", wheel, "--socket").returncode == 0
    assert set(board.tree()) - before == {
        "etc/systemd/system/geartender.socket",
        "etc/systemd/system/geartender.service.d",
        "etc/systemd/system/geartender.service.d/socket.conf",
        "etc/systemd/system/sockets.target.wants",
        "etc/systemd/system/sockets.target.wants/geartender.socket",
    }
    assert board.install("--wheel", wheel).returncode == 0
    assert set(board.tree()) == before


def test_a_mistake_in_the_arguments_shows_how_it_is_used(board: Board) -> None:
    done = board.install("--wheels", "x")
    assert done.returncode == 2
    assert "--uninstall" in done.stderr


def test_uninstalling_leaves_nothing_but_the_data_and_installing_again_takes_it_up(tmp_path: Path, wheel: Path) -> None:
    board = Board(tmp_path)
    before = {place for place in board.tree() if not place.startswith("etc/")}
    assert board.install("--wheel", wheel).returncode == 0
    mine = "# a line of mine\n"
    config = board.root / "etc/geartender/geartender.toml"
    config.write_text(mine + config.read_text())
    (board.root / "var/lib/geartender/geartender.db").write_text("journal")

    assert board.install("--uninstall").returncode == 0
    after = board.tree()
    assert {place for place in after if not place.startswith("etc/")} - before == {
        "var/lib/geartender",
        "var/lib/geartender/geartender.db",
        "var/lib/geartender/configuration",
        "var/lib/geartender/configuration/geartender.toml",
    }
    assert not [place for place in after if place.startswith("etc/") and "geartender" in place]
    for file in ("passwd", "group", "shadow", "gshadow"):
        assert "geartender" not in (board.root / "etc" / file).read_text()
    assert after["var/lib/geartender"][:3] == ("0o40700", 0, 0)

    assert board.install("--wheel", wheel).returncode == 0
    assert config.read_text().startswith(mine)
    data = board.root / "var/lib/geartender"
    assert (data / "geartender.db").read_text() == "journal"
    assert (data / "geartender.db").stat().st_uid == number(board, "passwd", "geartender")
    assert not (data / "configuration").exists()
