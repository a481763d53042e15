"""A clean root to install into, with no network: the dependencies are those that the tests run with."""

from __future__ import annotations

import base64
import hashlib
import json
import os
import shutil
import socket
import subprocess
import sys
import sysconfig
import zipfile
from dataclasses import dataclass, field
from pathlib import Path

from tests.deploy.wheels import TOP

#: Folders that every Debian has.
GIVEN = ("etc/systemd/system", "etc/udev/rules.d", "usr/local/bin", "var/lib", "opt")


@dataclass
class Board:
    """A folder that stands for the file system of a board, and the scripts that install into it."""

    folder: Path
    port: int = 0
    let_in: dict[str, str] = field(default_factory=dict)
    """Header fields of a request that is let in, once there is a key."""
    root: Path = field(init=False)
    deploy: Path = field(init=False)

    def __post_init__(self) -> None:
        self.root, self.deploy = self.folder / "root", self.folder / "deploy"
        for name in GIVEN:
            (self.root / name).mkdir(parents=True)
        shutil.copytree(TOP / "deploy", self.deploy)
        dependencies = self._dependencies()
        digest = hashlib.sha256(dependencies.read_bytes()).hexdigest()
        (self.deploy / "service.lock").write_text(f"tests-own-packages==1 --hash=sha256:{digest}\n")
        self._programs()

    def _dependencies(self) -> Path:
        """One wheel that brings all: a line that points to the packages of these tests."""
        wheel = self.folder / "tests_own_packages-1-py3-none-any.whl"
        info = "tests_own_packages-1.dist-info"
        files = {
            "tests_own_packages.pth": sysconfig.get_path("purelib") + "\n",
            f"{info}/METADATA": "Metadata-Version: 2.1\nName: tests-own-packages\nVersion: 1\n",
            f"{info}/WHEEL": "Wheel-Version: 1.0\nGenerator: tests\nRoot-Is-Purelib: true\nTag: py3-none-any\n",
        }
        record = "".join(f"{name},sha256={_digest(text)},{len(text)}\n" for name, text in files.items())
        with zipfile.ZipFile(wheel, "w") as out:
            for name, text in {**files, f"{info}/RECORD": f"{record}{info}/RECORD,,\n"}.items():
                out.writestr(name, text)
        return wheel

    def _programs(self) -> None:
        """The interpreter of these tests, and a systemctl that can start things where no system runs."""
        programs = self.folder / "bin"
        programs.mkdir()
        (programs / "python3").symlink_to(Path(sys.executable).resolve())
        fake = programs / "systemctl"
        fake.write_text(
            f'#!/bin/sh\nexec "{sys.executable}" "{Path(__file__).with_name("fake_systemctl.py")}" "{shutil.which("systemctl")}" "$@"\n'
        )
        fake.chmod(0o755)

    def install(self, *arguments: str | Path) -> subprocess.CompletedProcess[str]:
        """Run the script as a person would, on this root."""
        environment = {
            **plain_environment(),
            "PATH": f"{self.folder / 'bin'}:{os.environ['PATH']}",
            "PIP_NO_INDEX": "1",
            "PIP_FIND_LINKS": str(self.folder),
            "PIP_CONFIG_FILE": os.devnull,
        }
        before = [] if os.geteuid() == 0 else ["sudo", "--non-interactive", "--preserve-env"]
        command = [*before, self.deploy / "install.sh", *arguments, "--root", self.root]
        return subprocess.run(command, env=environment, capture_output=True, text=True, check=False, timeout=200)

    def tree(self) -> dict[str, tuple[object, ...]]:
        """Everything in the root: kind and rights, owner, size, time, and where links point."""
        found = {}
        for path in sorted(self.root.rglob("*")):
            is_ = path.lstat()
            place = str(path.relative_to(self.root))
            target = str(path.readlink()) if path.is_symlink() else ""
            found[place] = (oct(is_.st_mode), is_.st_uid, is_.st_gid, is_.st_size, is_.st_mtime_ns, target)
        return found

    def configure(self, sheet: Path) -> None:
        """Fill the configuration in: one servo whose board is not there, and a port that is free."""
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = free.getsockname()[1]
        etc = self.root / "etc/geartender"
        shutil.copy(sheet, etc / "vent.toml")
        (etc / "geartender.toml").write_text(
            f'[service]\nport = {self.port}\ndata_dir = "{self.root}/var/lib/geartender"\n'
            f'[[servo]]\nname = "vent"\nport = "{self.root}/dev/no-board"\nbuild = "vent.toml"\n'
        )

    def make_key(self) -> None:
        """Let the tests in."""
        config = self.root / "etc/geartender/geartender.toml"
        made = self.command("keys", "add", "the tests", "--role", "manage", "--config", config, "--json")
        assert made.returncode == 0, made.stderr
        self.let_in = {"Authorization": f"Bearer {json.loads(made.stdout)['key']}"}

    def runs(self) -> None:
        """From here on a system runs in the root, so that services are started."""
        (self.root / "run/systemd/system").mkdir(parents=True)

    @property
    def in_force(self) -> str:
        return str((self.root / "opt/geartender/current").readlink())

    def said(self) -> str:
        """What the service has said on standard error."""
        return (self.root / "journal").read_text()

    def stop(self) -> None:
        """End the service."""
        subprocess.run([self.folder / "bin/systemctl", f"--root={self.root}", "stop", "geartender.service"], check=True)

    def command(self, *arguments: str | Path) -> subprocess.CompletedProcess[str]:
        """The installed command."""
        python = self.root / "opt/geartender/current/bin/python"
        return subprocess.run(
            [python, "-m", "geartender.cli.main", *arguments],
            env=plain_environment(),
            capture_output=True,
            text=True,
            check=False,
            timeout=60,
        )


def plain_environment() -> dict[str, str]:
    """Nothing that would lead to other packages than those that were installed."""
    return {name: value for name, value in os.environ.items() if not name.startswith(("PIP_", "PYTHON"))}


def _digest(text: str) -> str:
    return base64.urlsafe_b64encode(hashlib.sha256(text.encode()).digest()).rstrip(b"=").decode()
