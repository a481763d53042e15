"""From what was found on the machine to findings. Pure: every fact is an argument."""

from __future__ import annotations

import stat
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from geartender.access import is_loopback
from geartender.advice import PASSING_NAMES
from geartender.config import ServiceSection, SiteSection
from geartender.doctor.finding import Finding, bad, good, look
from geartender.store.space import FLOOR_BYTES, MIB, NEARLY_BYTES

MEMORY_FLOOR_BYTES = 64 * MIB
"""Bytes that must be free: a preview or a backup in the making takes as much for a moment."""

MADE = datetime(2026, 1, 1, tzinfo=UTC)
"""No clock that is right shows a time before this program was made."""

LASTING = "/dev/serial/by-id/"


@dataclass(frozen=True, slots=True)
class User:
    """Whom the service runs as, as far as files are concerned."""

    name: str
    uid: int
    gids: frozenset[int]

    def may(self, mode: int, uid: int, gid: int, wanted: int) -> bool:
        """Whether they may do with a file what `wanted` says (an octal digit: 4 read, 2 write, 1 enter)."""
        if self.uid == 0:
            return True
        shift = 6 if uid == self.uid else 3 if gid in self.gids else 0
        return (mode >> shift) & wanted == wanted


@dataclass(frozen=True, slots=True)
class Port:
    """A serial port as it lies in /dev."""

    path: str
    exists: bool
    mode: int = 0
    uid: int = 0
    gid: int = 0
    group: str = ""


def judge_port(servo: str, port: Port, user: User, there: Collection[str]) -> Finding:
    """Whether the port is there, by a lasting name, and may be used. `there` are the boards that are plugged in."""
    what = f"port of {servo}"
    if not port.exists:
        boards = ", ".join(sorted(there)) or "none"
        return bad(
            what, f"{port.path} is not there.", f"Plug the board in, or name one that is there ({boards}) as its port."
        )
    if not stat.S_ISCHR(port.mode):
        return bad(
            what, f"{port.path} is not a serial port.", f"Name the board's port; plugged in: {', '.join(there)}."
        )
    if not user.may(port.mode, port.uid, port.gid, 0o6):
        return bad(
            what,
            f"{user.name} may not use {port.path}, which is for the group {port.group}.",
            f"sudo usermod --append --groups {port.group} {user.name}, then start the service again.",
        )
    if port.path.startswith(PASSING_NAMES):
        return look(
            what,
            f"{port.path} may be another board after the next plug.",
            f"Use its lasting name under {LASTING} as the port of {servo}.",
        )
    return good(what, f"{port.path} is there and may be used.")


def judge_firmware(servo: str, found: str | None, shipped: str, reason: str = "") -> Finding:
    """Whether the board runs the firmware that came with this version. `found` is None when nobody answers."""
    what, install = f"firmware of {servo}", "geartender firmware install"
    if found is None:
        why = f": {reason}" if reason else ""
        return bad(
            what, f"No firmware of ours answers{why}.", f"Look at the cable and the port; on a new board: {install}"
        )
    if found != shipped:
        return bad(what, f"The board runs {found}, this service came with {shipped}.", install)
    return good(what, f"The board runs {found}, as it should.")


def judge_clock(now: datetime, *, right: bool, site: SiteSection) -> Finding:
    """Whether the clock can be trusted with a timetable."""
    set_it = "sudo timedatectl set-ntp true, and give the board a way to a time server."
    if now < MADE:
        return bad("clock", f"It shows {now:%Y-%m-%d}, which is before this program was made.", set_it)
    if right:
        return good("clock", "It was set over the network since the start.")
    if site.clock == "trusted":
        return look(
            "clock",
            "It was not set over the network; the configuration says that it keeps its time.",
            f"Nothing, if it shows {now:%Y-%m-%d %H:%M} UTC rightly; else {set_it}",
        )
    fix = f'{set_it} On a board with a clock of its own: clock = "trusted" in [site].'
    return bad("clock", "It was not set over the network yet; until then the timetable waits.", fix)


def judge_disk(folder: str, free: int, *, writable: bool, user: User) -> Finding:
    """Whether there is room for what is kept, and whether it can be written."""
    if not writable:
        return bad("disk", f"{user.name} may not write {folder}.", f"sudo chown -R {user.name}: {folder}")
    if free < NEARLY_BYTES:
        text = f"{free // MIB} MiB are free for {folder}; below {FLOOR_BYTES // MIB} MiB nothing starts by itself."
        judged = bad if free < FLOOR_BYTES else look
        return judged("disk", text, "Make room there, or keep less of the journal: keep_days and max_mib in [journal].")
    return good("disk", f"{free // MIB} MiB are free for {folder}.")


def judge_no_folder() -> Finding:
    """Nothing is kept at all."""
    return look(
        "disk", "Nothing is kept over a restart.", 'Give a folder: data_dir = "/var/lib/geartender" in [service].'
    )


def judge_database(url: str, trouble: str | None, *, is_new: bool) -> Finding:
    """Whether the database can be read. `trouble` says in plain words why not."""
    if trouble is not None:
        return bad(
            "database", f"{url}: {trouble}", "Restore a backup (geartender restore), or see that the server is reached."
        )
    return good("database", f"{url}: " + ("will be made at the first start." if is_new else "in order."))


def judge_zone(site: SiteSection, machine_zone: str | None) -> Finding:
    """Whether the timetable's zone is meant."""
    if site.zone == "UTC" and machine_zone not in (None, "UTC", "Etc/UTC"):
        return look(
            "zone",
            f"The timetable reads its times in UTC, this machine in {machine_zone}.",
            f'zone = "{machine_zone}" in [site], if you mean the time on the wall.',
        )
    place = "" if site.latitude is not None else " Without latitude and longitude nothing can go by the sun."
    return good("zone", f"Times are read in {site.zone}.{place}")


def judge_https(service: ServiceSection, answers: dict[str, bool]) -> Iterable[Finding]:
    """What crosses the network in the clear. `answers` tells for each https address whether the service answers there."""
    if not answers:
        if is_loopback(service.host):
            yield good("HTTPS", "The service is reached from this machine alone, so nothing crosses the network.")
        else:
            yield look(
                "HTTPS",
                "Whoever is on the network can read along, keys included: it is plain HTTP.",
                'Put a proxy with a certificate in front: see "HTTPS" in the README and deploy/proxy-nginx.conf.',
            )
    for address, does in answers.items():
        if does:
            yield good("HTTPS", f"The service answers at {address}.")
        else:
            yield bad(
                "HTTPS",
                f"The service does not answer at {address}.",
                "Look at the proxy: sudo nginx -t; journalctl -u nginx; and root_path in [service].",
            )
    if answers and not service.proxies:
        yield bad(
            "HTTPS",
            "The proxy is not believed about who asks, so every phone looks like the proxy.",
            'proxies = ["127.0.0.1"] in [service], with the address the proxy comes from.',
        )


def judge_memory(available: int | None) -> Finding:
    """Whether there is memory left."""
    if available is None:
        return look("memory", "This machine does not say how much is free.", "Nothing, if nothing else is wrong.")
    if available < MEMORY_FLOOR_BYTES:
        return bad(
            "memory",
            f"{available // MIB} MiB are free.",
            "End what else runs here; what takes most: ps -eo rss,comm --sort=-rss | head",
        )
    return good("memory", f"{available // MIB} MiB are free.")


def judge_service(health: dict[str, Any] | None, version: str) -> Finding:
    """Whether the service answers, and as which version."""
    if health is None:
        return look("service", "It does not answer here.", "sudo systemctl start geartender; journalctl -u geartender")
    if health.get("version") != version:
        return look(
            "service",
            f"Version {health.get('version')} answers, this command is of {version}.",
            "sudo systemctl restart geartender",
        )
    return good("service", f"It answers, version {version}.")
