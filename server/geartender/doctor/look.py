"""Gathers the facts from the machine, whether the service runs or not. While it runs the service itself is asked, since it holds
the ports and the database."""

from __future__ import annotations

import contextlib
import grp
import os
import pwd
from collections.abc import Iterator, Mapping
from importlib.metadata import version
from pathlib import Path
from typing import Any

import httpx

from geartender.config import ServoSection, Settings
from geartender.doctor import judge
from geartender.doctor.finding import Finding, look
from geartender.firmware.version import VERSION as FIRMWARE_VERSION
from geartender.install.conversation import converse
from geartender.store.checkup import Checkup, check_up
from geartender.world import World

ANSWER_S = 3.0
"""s; a service on this machine answers in milliseconds, a proxy beside it too."""


SHUT = "The service runs, and tells that only to those whom it lets in."
AS_ITS_USER = "Run this as root, or as the user of the service."


async def examine(settings: Settings, database_url: str, world: World, key: str | None = None) -> list[Finding]:
    """Everything that is looked at, in the order in which a person would put it right. A running service is asked with the key."""
    health = await _health(settings, key)
    user = _user(settings.service.data_dir)
    found = [judge.judge_service(health, version("geartender"))]
    for section in settings.servo:
        found += await _servo(section, world, user, health)
    found.append(judge.judge_clock(world.wall(), right=world.clock_right(), site=settings.site))
    found += _disk(settings, world, user)
    found.append(_database(database_url, health))
    found.append(judge.judge_zone(settings.site, _machine_zone()))
    found += judge.judge_https(settings.service, await _https(settings))
    found.append(judge.judge_memory(_available_bytes()))
    return found


async def _health(settings: Settings, key: str | None) -> dict[str, Any] | None:
    """What the service says of itself, if one runs."""
    service = settings.service
    host = {"0.0.0.0": "127.0.0.1", "::": "::1"}.get(service.host, service.host)  # noqa: S104 - read, not listened on
    return await _get(f"http://{f'[{host}]' if ':' in host else host}:{service.port}/healthz", key)


async def _get(url: str, key: str | None = None) -> dict[str, Any] | None:
    headers = {} if key is None else {"Authorization": f"Bearer {key}"}
    # Whether the certificate is trusted is for the phones to say; here it only matters who answers.
    async with httpx.AsyncClient(timeout=ANSWER_S, verify=False, trust_env=False) as client:  # noqa: S501 - see above
        try:
            answer = await client.get(url, headers=headers)
            said = answer.json()
        except (httpx.HTTPError, ValueError):
            return None
    return said if answer.status_code == 200 and isinstance(said, dict) and "links" in said else None


async def _servo(
    section: ServoSection, world: World, user: judge.User, health: Mapping[str, Any] | None
) -> list[Finding]:
    port = _port(section.port)
    findings = [judge.judge_port(section.name, port, user, _boards())]
    if health is not None and health["links"] is None:
        return [*findings, look(f"firmware of {section.name}", SHUT, AS_ITS_USER)]
    link = None if health is None else health["links"].get(section.name)
    if link is not None:
        reason = "" if link["state"] == "connected" else f"the service says {link['state']}"
        findings.append(judge.judge_firmware(section.name, link["firmware_version"], FIRMWARE_VERSION, reason))
    elif port.exists:
        hello = await converse(section.port, world, rest=False)
        findings.append(judge.judge_firmware(section.name, hello.version if hello else None, FIRMWARE_VERSION))
    return findings


def _port(path: str) -> judge.Port:
    try:
        is_ = Path(path).stat()
    except OSError:
        return judge.Port(path, exists=False)
    return judge.Port(path, exists=True, mode=is_.st_mode, uid=is_.st_uid, gid=is_.st_gid, group=_group(is_.st_gid))


def _group(gid: int) -> str:
    try:
        return grp.getgrgid(gid).gr_name
    except KeyError:
        return str(gid)


def _boards() -> list[str]:
    with contextlib.suppress(OSError):
        return [str(path) for path in Path(judge.LASTING).iterdir()]
    return []


def _user(data_dir: Path | None) -> judge.User:
    """Whom the service runs as: the owner of its data folder, else whoever asks."""
    uid = os.geteuid()
    with contextlib.suppress(OSError):
        uid = data_dir.stat().st_uid if data_dir is not None else uid
    try:
        entry = pwd.getpwuid(uid)
    except KeyError:
        return judge.User(str(uid), uid, frozenset())
    return judge.User(entry.pw_name, uid, frozenset(os.getgrouplist(entry.pw_name, entry.pw_gid)))


def _disk(settings: Settings, world: World, user: judge.User) -> Iterator[Finding]:
    folder = settings.service.data_dir
    if folder is None:
        yield judge.judge_no_folder()
        return
    there = next(each for each in (folder, *folder.parents) if each.exists())
    is_ = there.stat()
    writable = user.may(is_.st_mode, is_.st_uid, is_.st_gid, 0o3)
    yield judge.judge_disk(str(folder), world.free_bytes(there), writable=writable, user=user)


def _database(url: str, health: Mapping[str, Any] | None) -> Finding:
    if health is not None and health["store"] is None:
        return look("database", SHUT, AS_ITS_USER)
    if health is not None:
        state = health["store"]
        checkup = Checkup("the database", None if state == "ok" else f"the service says {state}", is_new=False)
    else:
        checkup = check_up(url)
    return judge.judge_database(checkup.name, checkup.trouble, is_new=checkup.is_new)


def _machine_zone() -> str | None:
    """The machine's own zone, by its name."""
    with contextlib.suppress(OSError, IndexError):
        return str(Path("/etc/localtime").resolve()).split("/zoneinfo/")[1]
    return None


async def _https(settings: Settings) -> dict[str, bool]:
    service = settings.service
    addresses = [f"{one}{service.root_path}" for one in service.allowed_hosts if one.startswith("https://")]
    return {one: await _get(f"{one}/healthz") is not None for one in addresses}


def _available_bytes() -> int | None:
    """Memory that a program can still have, as the kernel reckons it."""
    with contextlib.suppress(OSError, ValueError, StopIteration):
        lines = Path("/proc/meminfo").read_text(encoding="ascii").splitlines()
        return int(next(line for line in lines if line.startswith("MemAvailable:")).split()[1]) * 1024
    return None
