"""A service with a simulated servo behind a real nginx: TLS with a certificate of our own authority, under a path."""

from __future__ import annotations

import json
import os
import shutil
import socket
import ssl
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import httpx

from geartender.cli.running import ridge_vent

TOP = Path(__file__).parents[2]
COMMAND = [str(Path(sys.executable).with_name("geartender"))]
NAME = "shed.local"
STARTED_S = 30.0


@dataclass
class Proxied:
    """The outside of it."""

    address: str
    """Of the page, as a phone opens it."""
    backend: int
    folder: Path
    config: Path

    @property
    def port(self) -> int:
        return int(self.address.split(":")[2].split("/")[0])

    def command(self, *words: str) -> Any:
        """What a command at the machine says, as JSON."""
        said = subprocess.run(
            [*COMMAND, *words, "--config", str(self.config), "--json"],
            capture_output=True,
            text=True,
            check=True,
            timeout=60,
        )
        return json.loads(said.stdout)

    def client(self, **headers: str) -> httpx.Client:
        """A program that trusts our authority, and nothing else."""
        trusted = ssl.create_default_context(cafile=str(self.folder / "ca.pem"))
        transport = _Here(trusted, self.port)
        return httpx.Client(base_url=self.address, transport=transport, headers=headers, timeout=20)


class _Here(httpx.HTTPTransport):
    """Finds the name at this machine, as a name service on the network would."""

    def __init__(self, trusted: ssl.SSLContext, port: int) -> None:
        super().__init__(verify=trusted)
        self._port = port

    def handle_request(self, request: httpx.Request) -> httpx.Response:
        request.extensions["sni_hostname"] = NAME
        request.url = request.url.copy_with(host="127.0.0.1")
        return super().handle_request(request)


def free_port() -> int:
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return int(one.getsockname()[1])


def make_certificates(folder: Path) -> None:
    """An authority of our own, and a certificate that it gives to the name."""
    new = ["openssl", "req", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes", "-days", "2"]
    run(*new, "-x509", "-subj", "/CN=tests' own authority", "-keyout", "ca.key", "-out", "ca.pem", folder=folder)
    run(*new, "-subj", f"/CN={NAME}", "-keyout", "leaf.key", "-out", "leaf.csr", folder=folder)
    (folder / "leaf.ext").write_text(f"subjectAltName=DNS:{NAME}\nbasicConstraints=CA:FALSE\n")
    sign = [
        "openssl",
        "x509",
        "-req",
        "-in",
        "leaf.csr",
        "-CA",
        "ca.pem",
        "-CAkey",
        "ca.key",
        "-CAcreateserial",
        "-days",
        "2",
    ]
    run(*sign, "-extfile", "leaf.ext", "-out", "leaf.pem", folder=folder)


def run(*command: str, folder: Path) -> None:
    done = subprocess.run(command, cwd=folder, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


def nginx_configuration(folder: Path, front: int, back: int) -> Path:
    """Our example as it is, but for ports and places."""
    snippet = folder / "snippet.conf"
    shutil.copy(TOP / "deploy/proxy-nginx-snippet.conf", snippet)
    example = (TOP / "deploy/proxy-nginx.conf").read_text()
    for told, here in (
        ("listen 443 ssl;", f"listen 127.0.0.1:{front} ssl;"),
        ("listen [::]:443 ssl;", ""),
        ("server 127.0.0.1:8350;", f"server 127.0.0.1:{back};"),
        ("/etc/geartender/tls/shed.local.pem", str(folder / "leaf.pem")),
        ("/etc/geartender/tls/shed.local.key", str(folder / "leaf.key")),
        ("/etc/nginx/snippets/geartender.conf", str(snippet)),
    ):
        assert told in example, told
        example = example.replace(told, here)
    user = "user root;\n" if os.geteuid() == 0 else ""
    whole = folder / "nginx.conf"
    temporary = "".join(
        f"{kind}_temp_path {folder}/{kind};\n" for kind in ("client_body", "proxy", "fastcgi", "uwsgi", "scgi")
    )
    whole.write_text(
        f"{user}daemon off;\npid {folder}/nginx.pid;\nerror_log {folder}/error.log;\nevents {{}}\n"
        f"http {{\naccess_log off;\n{temporary}{example}}}\n"
    )
    return whole


def nginx() -> str:
    found = shutil.which("nginx", path=f"{os.environ['PATH']}:/usr/sbin")
    assert found, "nginx is not installed; deploy/test.sh installs it"
    return found


@contextmanager
def proxied(folder: Path) -> Iterator[Proxied]:
    """Everything running, until it is no longer needed."""
    front, back = free_port(), free_port()
    make_certificates(folder)
    line, config = folder / "line", folder / "geartender.toml"
    config.write_text(
        f'[service]\nport = {back}\ndata_dir = "kept"\nallowed_hosts = ["https://{NAME}:{front}"]\nroot_path = "/vent"\n'
        f'proxies = ["127.0.0.1"]\n[[servo]]\nname = "vent"\nport = "{line}"\nbuild = "{ridge_vent()}"\n'
    )
    commands = (
        [*COMMAND, "simulate", "--link", str(line), "--build", str(ridge_vent())],
        [*COMMAND, "serve", "--config", str(config)],
        [nginx(), "-e", str(folder / "error.log"), "-c", str(nginx_configuration(folder, front, back))],
    )
    with (folder / "said").open("w") as said:
        started = [
            subprocess.Popen(command, stdin=subprocess.PIPE, stdout=said, stderr=said, start_new_session=True)
            for command in commands
        ]
        one = Proxied(f"https://{NAME}:{front}/vent/", back, folder, config)
        try:
            wait_until_it_answers(one)
            yield one
        finally:
            for process in reversed(started):
                process.terminate()
                process.communicate(timeout=20)


def wait_until_it_answers(one: Proxied) -> None:
    end = time.monotonic() + STARTED_S
    with one.client() as client:
        while True:
            try:
                if client.get("healthz").json()["ready"]:
                    return
            except (httpx.HTTPError, ValueError):
                pass
            assert time.monotonic() < end, (one.folder / "said").read_text() + (one.folder / "error.log").read_text()
            time.sleep(0.1)
