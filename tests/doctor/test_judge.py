"""Each finding from its facts; and none without something to do about it."""

import stat
from datetime import UTC, datetime
from typing import Any

import pytest

from geartender.config import ServiceSection, SiteSection
from geartender.doctor import Finding, Verdict, judge
from geartender.store.space import FLOOR_BYTES, MIB, NEARLY_BYTES

DIALOUT, OTHERS = 20, 999
KEEPER = judge.User("geartender", 998, frozenset({998, DIALOUT}))
NOW = datetime(2031, 3, 1, tzinfo=UTC)
BY_ID = "/dev/serial/by-id/usb-vent"


def port(path: str = BY_ID, **changes: Any) -> judge.Port:
    facts: dict[str, Any] = {"exists": True, "mode": stat.S_IFCHR | 0o660, "uid": 0, "gid": DIALOUT, "group": "dialout"}
    return judge.Port(path, **facts | changes)


def said(finding: Finding) -> str:
    """Held for every finding: what is not good says what to do, and what is good does not."""
    assert bool(finding.fix) == (finding.verdict is not Verdict.GOOD)
    return f"{finding.verdict}: {finding.text} {finding.fix}"


def site(**given: Any) -> SiteSection:
    return SiteSection.model_validate(given)


@pytest.mark.parametrize(
    ("given", "says"),
    [
        (port(), "good: "),
        (
            port(exists=False),
            "bad: /dev/serial/by-id/usb-vent is not there. Plug the board in, or name one that is there (a, b)",
        ),
        (port(mode=stat.S_IFREG | 0o660), "bad: /dev/serial/by-id/usb-vent is not a serial port"),
        (port(gid=OTHERS, group="others"), "usermod --append --groups others geartender"),
        (port(mode=stat.S_IFCHR | 0o640), "bad: geartender may not use"),
        (port(gid=OTHERS, mode=stat.S_IFCHR | 0o666), "good: "),
        (port("/dev/ttyACM0"), "look: /dev/ttyACM0 may be another board"),
    ],
)
def test_a_port(given: judge.Port, says: str) -> None:
    assert says in said(judge.judge_port("vent", given, KEEPER, ["b", "a"]))


def test_root_may_use_any_port() -> None:
    root = judge.User("root", 0, frozenset({0}))
    assert judge.judge_port("vent", port(mode=stat.S_IFCHR), root, []).verdict is Verdict.GOOD


def test_the_owner_is_judged_by_the_owners_rights_even_where_the_group_may_more() -> None:
    own = port(uid=998, mode=stat.S_IFCHR | 0o060)
    assert judge.judge_port("vent", own, KEEPER, []).verdict is Verdict.BAD


@pytest.mark.parametrize(
    ("found", "says"),
    [
        ("1.2.3", "good: The board runs 1.2.3"),
        ("1.2.2", "bad: The board runs 1.2.2, this service came with 1.2.3. geartender firmware install"),
        (None, "bad: No firmware of ours answers: the service says offline"),
    ],
)
def test_a_firmware(found: str | None, says: str) -> None:
    reason = "" if found else "the service says offline"
    assert says in said(judge.judge_firmware("vent", found, "1.2.3", reason))


@pytest.mark.parametrize(
    ("now", "right", "clock", "says"),
    [
        (NOW, True, "synchronized", "good: "),
        (NOW, False, "synchronized", "bad: It was not set over the network yet"),
        (NOW, False, "trusted", "look: "),
        (datetime(1970, 1, 1, tzinfo=UTC), True, "trusted", "bad: It shows 1970-01-01"),
    ],
)
def test_a_clock(now: datetime, right: bool, clock: str, says: str) -> None:
    assert says in said(judge.judge_clock(now, right=right, site=site(clock=clock)))


@pytest.mark.parametrize(
    ("free", "writable", "says"),
    [
        (NEARLY_BYTES, True, "good: "),
        (NEARLY_BYTES - 1, True, "look: "),
        (FLOOR_BYTES - 1, True, "bad: 47 MiB are free for /data"),
        (NEARLY_BYTES, False, "chown -R geartender: /data"),
    ],
)
def test_a_disk(free: int, writable: bool, says: str) -> None:
    assert says in said(judge.judge_disk("/data", free, writable=writable, user=KEEPER))


def test_a_database() -> None:
    assert "made at the first start" in said(judge.judge_database("sqlite:///x", None, is_new=True))
    assert "good: sqlite:///x: in order" in said(judge.judge_database("sqlite:///x", None, is_new=False))
    assert "bad: sqlite:///x: it is damaged" in said(judge.judge_database("sqlite:///x", "it is damaged", is_new=False))


@pytest.mark.parametrize(
    ("zone", "machine", "says"),
    [
        (
            "UTC",
            "Europe/Lisbon",
            'look: The timetable reads its times in UTC, this machine in Europe/Lisbon. zone = "Europe/Lisbon"',
        ),
        ("UTC", "Etc/UTC", "good: "),
        ("UTC", None, "good: "),
        ("Europe/Lisbon", "Etc/UTC", "good: Times are read in Europe/Lisbon."),
    ],
)
def test_a_zone(zone: str, machine: str | None, says: str) -> None:
    assert says in said(judge.judge_zone(site(zone=zone), machine))


def https(answers: dict[str, bool], **service: Any) -> list[str]:
    return [said(one) for one in judge.judge_https(ServiceSection.model_validate(service), answers)]


def test_https() -> None:
    assert https({})[0].startswith("good: The service is reached from this machine alone")
    assert https({"https://shed.local": True}, proxies=["127.0.0.1"]) == [
        "good: The service answers at https://shed.local. "
    ]
    assert https({"https://shed.local": False}, proxies=["127.0.0.1"])[0].startswith("bad: The service does not answer")
    assert 'proxies = ["127.0.0.1"]' in https({"https://shed.local": True})[1]


def test_memory() -> None:
    assert "good" in said(judge.judge_memory(judge.MEMORY_FLOOR_BYTES))
    assert "bad: 63 MiB are free" in said(judge.judge_memory(judge.MEMORY_FLOOR_BYTES - MIB))
    assert "look" in said(judge.judge_memory(None))


def test_the_service_itself() -> None:
    assert "good" in said(judge.judge_service({"version": "1"}, "1"))
    assert "look: Version 1 answers, this command is of 2" in said(judge.judge_service({"version": "1"}, "2"))
    assert "systemctl start" in said(judge.judge_service(None, "1"))
