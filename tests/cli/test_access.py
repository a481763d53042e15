"""pair and keys as a person uses them, against a real service and against one that does not run."""

from __future__ import annotations

import json
import re
import signal
import stat
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import httpx
import pytest

from geartender.cli.running import ridge_vent
from tests.cli.demo import COMMAND


@pytest.fixture
def config(tmp_path: Path) -> Path:
    file = tmp_path / "geartender.toml"
    file.write_text(
        f'[service]\nport = 0\nhost = "0.0.0.0"\ndata_dir = "kept"\n'
        f'[[servo]]\nname = "vent"\nport = "{tmp_path}/no-board"\nbuild = "{ridge_vent()}"\n'
    )
    return file


def command(*arguments: str | Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run([*COMMAND, *arguments], capture_output=True, text=True, timeout=60, check=False)


def key_of(config: Path, name: str, *options: str) -> str:
    made = command("keys", "add", name, "--config", config, "--json", *options)
    assert made.returncode == 0, made.stderr
    return str(json.loads(made.stdout)["key"])


@contextmanager
def serving(config: Path) -> Iterator[tuple[str, subprocess.Popen[str]]]:
    serve = subprocess.Popen(
        [*COMMAND, "serve", "--config", str(config)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )
    try:
        assert serve.stdout is not None
        port = serve.stdout.readline().strip().rstrip("/").rpartition(":")[2]
        yield f"http://127.0.0.1:{port}", serve
    finally:
        serve.send_signal(signal.SIGTERM)
        serve.communicate(timeout=30)


def status(url: str, key: str) -> int:
    return httpx.get(f"{url}/api/v1/me", headers={"Authorization": f"Bearer {key}"}).status_code


def test_a_key_is_made_listed_and_revoked_whether_the_service_runs_or_not(config: Path) -> None:
    assert command("keys", "list", "--config", config).stdout == "Nobody is let in.\n"
    before = key_of(config, "before", "--role", "watch")
    with serving(config) as (url, _):
        during = key_of(config, "during", "--role", "drive", "--servo", "vent", "--expires", "90d")
        assert [status(url, key) for key in (before, during)] == [200, 200]
        listed = command("keys", "list", "--config", config).stdout.splitlines()
        assert re.fullmatch(r"k-\w+  key    watch   before, last used \S+ \S+", listed[0])
        assert re.fullmatch(r"k-\w+  key    drive   during of vent, last used \S+ \S+, until \S+ \S+", listed[1])
        revoked = command("keys", "revoke", "before", "--config", config)
        assert (revoked.returncode, revoked.stdout) == (0, "before is let in no longer.\n")
        assert [status(url, key) for key in (before, during)] == [401, 200]
        left = config.parent / "kept/machine.json"
        assert stat.S_IMODE(left.stat().st_mode) == 0o600
        assert stat.S_IMODE((config.parent / "kept/geartender.db").stat().st_mode) == 0o600
        assert not any(key in left.read_text() for key in (before, during))
    assert not left.exists()
    assert command("keys", "revoke", "during", "--config", config).returncode == 0
    assert command("keys", "revoke", "during", "--config", config).returncode == 2
    with serving(config) as (url, _):
        assert [status(url, key) for key in (before, during)] == [401, 401]


def test_a_phone_is_invited_whether_the_service_runs_or_not(config: Path) -> None:
    config.write_text(config.read_text().replace("port = 0", "port = 1"))
    made = [json.loads(command("pair", "--role", "manage", "--config", config, "--json").stdout)]
    config.write_text(config.read_text().replace("port = 1", "port = 0"))
    with serving(config) as (url, _):
        made.append(json.loads(command("pair", "--config", config, "--json").stdout))
        roles = []
        for offer, way in zip(made, ("code", "secret"), strict=True):
            with httpx.Client(base_url=url) as http:
                me = http.post("/api/v1/pairing", json={"name": "phone", way: offer[way]})
                assert me.status_code == 201, me.text
                roles.append(http.get("/api/v1/me").json()["role"])
        assert roles == ["manage", "drive"]
        shown = command("pair", "--config", config).stdout
        assert re.search(r"type the code \d{3} \d{3}\nGood once, for 10 minutes. Whoever uses it drives.", shown)


def test_the_first_start_invites_whoever_is_to_manage_it(config: Path) -> None:
    with serving(config) as (url, serve):
        serve.send_signal(signal.SIGTERM)
        _, said = serve.communicate(timeout=30)
    code = re.search(r"type the code (\d{3}) (\d{3})", said)
    assert "Nobody manages this service yet." in said
    assert code
    assert url.rpartition(":")[2] in said


def test_what_cannot_be_done_is_said(config: Path, tmp_path: Path) -> None:
    assert command("keys", "add", "x", "--role", "owner", "--config", config).returncode == 2
    wrong = command("keys", "add", "x", "--role", "drive", "--expires", "soon", "--config", config)
    assert (wrong.returncode, "Write it like 90d" in wrong.stderr) == (2, True)
    other = command("keys", "add", "x", "--role", "drive", "--servo", "louvre", "--config", config)
    assert (other.returncode, "no servo 'louvre'" in other.stderr) == (2, True)
    config.write_text(config.read_text().replace('data_dir = "kept"\n', ""))
    nowhere = command("keys", "list", "--config", config)
    assert (nowhere.returncode, "keeps nothing over a restart" in nowhere.stderr) == (2, True)
