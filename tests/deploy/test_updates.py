"""A new version beside the old one: it takes over when it is healthy, and the old one comes back with its data when it is not."""

import json
import shutil
import sqlite3
import urllib.request
import zipfile
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from geartender.cli.running import ridge_vent
from tests.deploy.board import Board
from tests.deploy.wheels import another_version, build_wheel

pytestmark = pytest.mark.slow

APP = "geartender/api/app.py"
CONFIG = "geartender/config.py"
#: Changes the tables to those of a later version, and then does not come up.
HALF_WAY = """
def create_app(settings, *_, **__):
    import sqlite3
    with sqlite3.connect(settings.service.data_dir / DATABASE_FILE) as database:
        database.execute("UPDATE alembic_version SET version_num = '9999'")
    raise SystemExit("no further")
"""
#: Comes up, but keeps nothing.
UNHEALTHY = """
_create_app = create_app
def create_app(*given, **named):
    from geartender.store.trouble import Trouble
    app = _create_app(*given, **named)
    type(app.state.service.store).trouble = property(lambda _: Trouble.FAILED)
    return app
"""


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return build_wheel(tmp_path_factory.mktemp("wheels"))


@pytest.fixture(scope="module")
def board(tmp_path_factory: pytest.TempPathFactory, wheel: Path) -> Iterator[Board]:
    """One on which this version runs."""
    one = Board(tmp_path_factory.mktemp("board"))
    # A broken version is given up after seconds here, not after the minute that a small board may need.
    release = one.deploy / "release.sh"
    release.write_text(release.read_text().replace("healthy_within_s=60", "healthy_within_s=8"))
    set_up(one, wheel)
    yield one
    one.stop()


def set_up(board: Board, wheel: Path) -> None:
    """What the README says: install, fill the configuration in, install again, which starts it; a key for the tests."""
    assert board.install("--wheel", wheel).returncode == 0
    board.configure(ridge_vent())
    board.runs()
    board.make_key()
    done = board.install("--wheel", wheel)
    assert done.returncode == 0, done.stderr


def health(board: Board) -> dict[str, object]:
    answer: dict[str, object] = json.load(urllib.request.urlopen(f"http://127.0.0.1:{board.port}/healthz", timeout=10))
    return answer


def put_sequence(board: Board, name: str) -> None:
    body = json.dumps({"steps": [{"do": "wait", "for_s": 1}]}).encode()
    headers = {**board.let_in, "Content-Type": "application/json", "If-None-Match": "*"}
    url = f"http://127.0.0.1:{board.port}/api/v1/sequences/{name}"
    urllib.request.urlopen(urllib.request.Request(url, body, headers, method="PUT"), timeout=10).close()


def sequences(board: Board) -> list[str]:
    url = f"http://127.0.0.1:{board.port}/api/v1/sequences"
    answer = urllib.request.urlopen(urllib.request.Request(url, headers=board.let_in), timeout=10)
    return [item["name"] for item in json.load(answer)["items"]]


def test_the_service_runs_once_it_is_configured(board: Board) -> None:
    assert health(board)["version"] == "0.1.0"


@pytest.mark.parametrize(
    ("version", "broken"),
    [("0.1.1", HALF_WAY), ("0.1.2", UNHEALTHY)],
    ids=["stops half way", "is not healthy"],
)
def test_a_broken_version_gives_way_to_the_old_one_and_its_data(
    board: Board, wheel: Path, version: str, broken: str
) -> None:
    before, name = board.in_force, f"kept-{version.replace('.', '-')}"
    put_sequence(board, name)
    done = board.install("--wheel", another_version(wheel, version, {APP: broken}))
    assert done.returncode == 1
    assert f"going back to {before}" in done.stderr
    assert f"{before} runs again, with the data as it was." in done.stderr
    assert board.in_force == before
    assert (health(board)["version"], health(board)["status"]) == ("0.1.0", "ok")
    assert name in sequences(board)
    # What the broken one made of the data is kept for whoever wants to know.
    with closing(sqlite3.connect(board.root / "var/lib/geartender/failed-update/geartender.db")) as failed:
        assert failed.execute("SELECT count(*) FROM alembic_version").fetchone() == (1,)


def test_a_version_that_cannot_use_the_configuration_changes_nothing(board: Board, wheel: Path) -> None:
    before, pid = board.in_force, (board.root / "pid").read_text()
    stricter = another_version(
        wheel, "0.1.3", {CONFIG: "\ndef load_settings(path):\n    raise ConfigError([_whole('is of old')])\n"}
    )
    done = board.install("--wheel", stricter)
    assert done.returncode == 1
    assert "cannot use the configuration; nothing was changed" in done.stderr
    assert board.in_force == before
    assert (board.root / "pid").read_text() == pid
    assert health(board)["version"] == "0.1.0"
    assert not list((board.root / "opt/geartender").glob("0.1.3-*"))


def test_an_update_that_was_cut_off_is_gone_back_from_by_the_next_run(board: Board, wheel: Path) -> None:
    before = board.in_force
    put_sequence(board, "before-the-cut")
    board.stop()
    data, opt = board.root / "var/lib/geartender", board.root / "opt/geartender"
    # As it lies there when the power fails after the switch: the copy, the word what to go back to, and the new one in force.
    for part in (data / "before-update").iterdir():
        part.unlink() if part.is_file() else shutil.rmtree(part)
    shutil.copy2(data / "geartender.db", data / "before-update")
    (opt / "updating").write_text(f"{before}\n")
    (broken,) = opt.glob("0.1.1-*")
    (opt / "current").unlink()
    (opt / "current").symlink_to(broken.name)
    with closing(sqlite3.connect(data / "geartender.db")) as database, database:
        database.execute("UPDATE alembic_version SET version_num = '9999'")

    done = board.install("--wheel", wheel)
    assert done.returncode == 0, done.stderr
    assert f"It is not; going back to {before} first." in done.stderr
    assert board.in_force == before
    assert health(board)["version"] == "0.1.0"
    assert "before-the-cut" in sequences(board)
    assert not (opt / "updating").exists()


def test_a_good_version_takes_over_with_the_data_and_the_one_before_stays(board: Board, wheel: Path) -> None:
    before = board.in_force
    put_sequence(board, "kept-over")
    done = board.install("--wheel", another_version(wheel, "0.2.0", {}))
    assert done.returncode == 0, done.stderr
    assert board.in_force.startswith("0.2.0-")
    assert health(board)["version"] == "0.2.0"
    assert "kept-over" in sequences(board)
    releases = {path.name for path in (board.root / "opt/geartender").iterdir()} - {"current"}
    assert releases == {before, board.in_force}
    assert (board.root / "var/lib/geartender/before-update/geartender.db").exists()


def test_a_backup_brings_everything_back_on_a_fresh_card(board: Board, wheel: Path, tmp_path: Path) -> None:
    put_sequence(board, "from-the-old-card")
    old_key = board.let_in["Authorization"].split()[1]
    archive = tmp_path / "all.zip"
    saved = board.command("backup", archive, "--url", f"http://127.0.0.1:{board.port}", "--key", old_key)
    assert saved.returncode == 0, saved.stderr
    assert old_key.encode() not in b"".join(
        zipfile.ZipFile(archive).read(name) for name in zipfile.ZipFile(archive).namelist()
    )

    fresh = Board(tmp_path)
    # That the program itself comes onto an empty card is shown in test_install.py; to make it once more would only take time.
    (release,) = (board.root / "opt/geartender").glob("0.1.0-*")
    shutil.copytree(release, fresh.root / "opt/geartender" / release.name, symlinks=True)
    set_up(fresh, wheel)
    try:
        assert sequences(fresh) == []
        new_key = fresh.let_in["Authorization"].split()[1]
        put = fresh.command("restore", archive, "--yes", "--url", f"http://127.0.0.1:{fresh.port}", "--key", new_key)
        assert put.returncode == 0, put.stderr
        assert "from-the-old-card" in sequences(fresh)
        assert health(fresh)["ready"] is False  # no board is plugged in here
        notices = json.loads(
            fresh.command("notices", "--json", "--url", f"http://127.0.0.1:{fresh.port}", "--key", new_key).stdout
        )
        assert "restored" in {one["kind"] for one in notices}
        # Who was let in is let in again, though the backup holds no key in clear.
        old = fresh.command("notices", "--url", f"http://127.0.0.1:{fresh.port}", "--key", old_key)
        assert old.returncode == 0, old.stderr
    finally:
        fresh.stop()
