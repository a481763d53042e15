"""A real PostgreSQL for tests: a cluster of its own in a temporary folder, reached by a socket in it, with no network port."""

from __future__ import annotations

import contextlib
import os
import pwd
import shutil
import subprocess
import tempfile
from collections.abc import Callable, Iterator
from itertools import count
from pathlib import Path

import psycopg

START_MAX_S = 60


def programs() -> Path:
    """Where the server's programs lie: in the path, or where Debian puts them."""
    found = shutil.which("initdb")
    if found:
        return Path(found).parent
    for initdb in sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), reverse=True):
        return initdb.parent
    raise AssertionError("no PostgreSQL here; deploy/test.sh installs it (or leave these out: -m 'not postgresql')")


class Cluster:
    """A running cluster that gives out empty databases."""

    def __init__(self, folder: Path, control: Callable[..., None]) -> None:
        self._folder = folder
        self._number = count()
        self._control = control

    def stop(self) -> None:
        """As if the power went: connections are cut."""
        self._control("-m", "immediate", "-w", "stop")

    def start(self) -> None:
        options = f"-k {self._folder} -c listen_addresses='' -c fsync=off -c shared_buffers=16MB -c max_connections=20"
        self._control("-l", str(self._folder / "log"), "-w", "-o", options, "start")

    def fresh(self) -> str:
        """The address of a database of its own."""
        name = f"test{next(self._number)}"
        with psycopg.connect(f"host={self._folder} user=tester dbname=postgres", autocommit=True) as connection:
            connection.execute(f"CREATE DATABASE {name}")
        return f"postgresql+psycopg://tester@/{name}?host={self._folder}"


def _unprivileged() -> dict[str, int]:
    """The server refuses to run as root; nobody at all is enough for it."""
    if os.geteuid() != 0:
        return {}
    nobody = pwd.getpwnam("nobody")
    return {"user": nobody.pw_uid, "group": nobody.pw_gid}


@contextlib.contextmanager
def cluster() -> Iterator[Cluster]:
    """Make it, start it, and take it away again."""
    bin_, who = programs(), _unprivileged()
    with tempfile.TemporaryDirectory(prefix="pg-") as temporary:
        folder = Path(temporary)
        if who:
            os.chown(folder, who["user"], who["group"])
        data = folder / "data"

        def run(program: str, *arguments: str) -> None:
            command = [bin_ / program, *arguments]
            subprocess.run(command, check=True, cwd=folder, capture_output=True, text=True, timeout=START_MAX_S, **who)

        run("initdb", "-D", str(data), "-U", "tester", "-A", "trust", "-E", "UTF8", "--locale=C", "--no-sync")
        made = Cluster(folder, lambda *arguments: run("pg_ctl", "-D", str(data), *arguments))
        made.start()
        try:
            yield made
        finally:
            made.stop()
