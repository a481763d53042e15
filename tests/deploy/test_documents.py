"""What the README and DEVELOPERS.md say is held against what is there."""

import re
import tomllib
from pathlib import Path

import pytest

from geartender.cli.main import app
from geartender.config import parse_settings

TOP = Path(__file__).parents[2]
DOCUMENTS = ["README.md", "DEVELOPERS.md"]


@pytest.mark.parametrize("document", DOCUMENTS)
def test_every_file_it_names_is_there(document: str) -> None:
    text = (TOP / document).read_text()
    links = {link for link in re.findall(r"\]\(([^)#]+)\)", text) if "://" not in link}
    code = re.findall(r"`([\w./-]+/[\w./-]*)`", text)
    places = [TOP, TOP / "server/geartender", TOP / "tests"]
    missing = [
        path
        for path in [*links, *code]
        if not path.startswith("/") and not any((place / path).exists() for place in places)
    ]
    assert [path for path in missing if not path.startswith("web/vendor")] == []


def commands() -> set[str]:
    return {command.callback.__name__ for command in app.registered_commands if command.callback}


@pytest.mark.parametrize("document", DOCUMENTS)
def test_every_command_it_names_is_there(document: str) -> None:
    named = set(re.findall(r"^geartender (\w+)", (TOP / document).read_text(), re.MULTILINE))
    assert named <= commands() | {group.name for group in app.registered_groups}


def test_the_configuration_it_shows_is_in_order() -> None:
    text = (TOP / "README.md").read_text()
    block = text.split("<!-- configuration -->\n```toml\n")[1].split("```")[0]
    assert parse_settings(tomllib.loads(block)).servo[0].name == "vent"


def test_the_commands_of_the_design_are_all_there() -> None:
    assert commands() >= {
        *("demo", "serve", "simulate", "figures", "status", "watch"),
        *("arm", "disarm", "home", "move", "turn", "stop", "reset"),
    }
