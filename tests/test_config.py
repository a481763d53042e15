from pathlib import Path

import pytest

from geartender.config import DEFAULT_PORT, load_settings, parse_settings
from geartender.errors import ConfigError

GOOD = """
[service]
port = 9000
data_dir = "kept"
allowed_hosts = ["vent.local", "https://vent.example"]

[site]
zone = "Europe/Lisbon"
latitude = 38.7
longitude = -9.1

[[servo]]
name = "vent"
port = "/dev/serial/by-id/one"
build = "vent.toml"
"""


def test_a_good_file_is_read_and_its_paths_count_from_its_folder(tmp_path: Path) -> None:
    file = tmp_path / "geartender.toml"
    file.write_text(GOOD)
    settings = load_settings(file)
    assert settings.service.port == 9000
    assert settings.service.data_dir == tmp_path / "kept"
    assert settings.servo[0].build == tmp_path / "vent.toml"
    assert settings.servo[0].unattended is False


def test_what_is_not_said_has_a_default() -> None:
    settings = parse_settings({})
    assert (settings.service.host, settings.service.port, settings.service.data_dir) == (
        "127.0.0.1",
        DEFAULT_PORT,
        None,
    )
    assert settings.site.zone == "UTC"


def lines(text: str) -> list[str]:
    import tomllib

    with pytest.raises(ConfigError) as caught:
        parse_settings(tomllib.loads(text), "g.toml")
    return str(caught.value).splitlines()


SERVO = '[[servo]]\nname = "vent"\nport = "p"\nbuild = "b"\n'


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("[servise]", "g.toml: servise: there is no such field; do you mean service?"),
        ("[service]\nprot = 1", "g.toml: service.prot: there is no such field; do you mean port?"),
        ("[service]\nport = 70000", "g.toml: service.port: should be less than or equal to 65535"),
        ("[site]\nlatitude = 1.0", "g.toml: site: give latitude and longitude, or neither"),
        (
            '[site]\nzone = "Mars"',
            "g.toml: site.zone: 'Mars' is no time zone of this machine; write it like Europe/Lisbon or UTC",
        ),
        ('[[servo]]\nname = "vent"\nport = "p"', "g.toml: servo[0].build: is missing"),
        (SERVO + SERVO, "g.toml: two servos have the same name 'vent'; each needs its own"),
        (
            SERVO.replace("vent", "Ridge Vent"),
            "g.toml: servo[0].name: should be lower-case letters, digits and hyphens, 40 at most, such as vent or ridge-vent-2",
        ),
        (
            '[service]\nallowed_hosts = ["*"]',
            "g.toml: service.allowed_hosts: '*' is not a host name; write vent.local, vent.local:8080 or https://vent.example",
        ),
    ],
)
def test_each_mistake_is_one_line_with_its_place_and_a_hint(text: str, line: str) -> None:
    assert lines(text) == [line]


def test_all_mistakes_come_at_once() -> None:
    assert len(lines("[service]\nport = -1\nhosts = 1\n[site]\nzone = 3\n[[servo]]\n")) == 6


@pytest.mark.parametrize("host", ["0.0.0.0", "::", "192.168.1.20", "vent.local"])
def test_it_may_listen_on_any_address(host: str) -> None:
    assert parse_settings({"service": {"host": host}}).service.host == host


@pytest.mark.parametrize(
    ("content", "words"),
    [(b"[service", "is not TOML"), (b"\xff", "is not TOML"), (b"", "servo: is missing"), (None, "cannot be read")],
)
def test_a_file_that_cannot_be_used_is_told(tmp_path: Path, content: bytes | None, words: str) -> None:
    file = tmp_path / "g.toml"
    if content is not None:
        file.write_bytes(content)
    with pytest.raises(ConfigError, match=words):
        load_settings(file)
