"""Lines that journald can sort, that no value can forge, and that never repeat without end."""

import io
import json
import logging
from collections.abc import Iterator
from typing import Literal

import httpx
import pytest

from geartender.logs import BURST, KINDS_MAX, PERIOD_S, TOO_TALKATIVE, Lines, RateLimit, set_up_logs


class Said:
    """A logger of its own, its lines, and a clock that a test turns."""

    def __init__(self, form: Literal["text", "json"] = "text", *, priorities: bool = False) -> None:
        self.now = 0.0
        self._stream = io.StringIO()
        handler = logging.StreamHandler(self._stream)
        handler.setFormatter(Lines(form, priorities=priorities))
        handler.addFilter(RateLimit(lambda: self.now))
        self.log = logging.Logger("geartender.link")  # noqa: LOG001 - one of its own, for one test
        self.log.addHandler(handler)

    @property
    def lines(self) -> list[str]:
        return self._stream.getvalue().splitlines()


@pytest.fixture
def said() -> Said:
    return Said()


def test_a_line_is_pairs_of_key_and_value(said: Said) -> None:
    said.log.warning("link of %s: %s", "vent", "gone")
    said.log.info("started")
    assert said.lines == [
        'level=warning logger=geartender.link message="link of vent: gone"',
        "level=info logger=geartender.link message=started",
    ]


def test_no_value_can_look_like_another_line_or_another_field(said: Said) -> None:
    said.log.warning("name %s", 'x"\nlevel=critical message=forged')
    (line,) = said.lines
    assert line.startswith('level=warning logger=geartender.link message="name x\\"\\nlevel=')


def test_an_exception_stays_on_its_line(said: Said) -> None:
    try:
        raise ValueError("two\nlines")
    except ValueError:
        said.log.exception("failed")
    (line,) = said.lines
    assert "ValueError: two" in line


def test_json_has_the_same_names() -> None:
    said = Said("json")
    said.log.error("cannot open %s", "/dev/x")
    assert json.loads(said.lines[0]) == {"level": "error", "logger": "geartender.link", "message": "cannot open /dev/x"}


@pytest.mark.parametrize(("level", "priority"), [("error", 3), ("warning", 4), ("info", 6), ("debug", 7)])
def test_journald_gets_the_level_in_front(level: str, priority: int) -> None:
    said = Said(priorities=True)
    getattr(said.log, level)("x")
    assert said.lines[0].startswith(f"<{priority}>level={level} ")


def test_noise_of_one_kind_is_said_a_few_times_and_then_counted(said: Said) -> None:
    for number in range(10_000):
        said.log.warning("line %d dropped", number)
        said.now += PERIOD_S / 20_000
    assert len(said.lines) == BURST
    said.now += PERIOD_S
    said.log.warning("line %d dropped", 10_000)
    assert said.lines[-1].endswith(f'message="line 10000 dropped" left_out_before={10_000 - BURST}')


def test_noise_leaves_room_for_everything_else(said: Said) -> None:
    for number in range(1000):
        said.log.warning("line %d dropped", number)
    said.log.warning("the port was lost")
    assert said.lines[-1].endswith('message="the port was lost"')


def test_ever_new_words_do_not_fill_the_memory(said: Said) -> None:
    (limit,) = said.log.handlers[0].filters
    for number in range(10 * KINDS_MAX):
        said.log.info(f"kind {number}")  # noqa: G004 - as careless as can be
    assert isinstance(limit, RateLimit)
    assert len(limit._kinds) == KINDS_MAX


@pytest.fixture
def _as_before() -> Iterator[None]:
    root, quiet = logging.getLogger(), [logging.getLogger(name) for name in TOO_TALKATIVE]
    before = root.handlers[:], root.level, [one.level for one in quiet]
    yield
    root.handlers[:], level, levels = before
    root.setLevel(level)
    for one, was in zip(quiet, levels, strict=True):
        one.setLevel(was)


@pytest.mark.usefixtures("_as_before")
def test_the_address_of_a_webhook_is_not_said_by_the_library_that_asks_it() -> None:
    stream = io.StringIO()
    set_up_logs("text", "debug", stream, lambda: 0.0)
    with httpx.Client(transport=httpx.MockTransport(lambda _: httpx.Response(204))) as client:
        client.post("https://hooks.example/token-of-mine")
    logging.getLogger("geartender.api").debug("told")
    assert "token-of-mine" not in stream.getvalue()
    assert "told" in stream.getvalue()
