"""Lines to bytes and back, and a reader that survives anything."""

import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from geartender.link.lines import (
    CLOCK_SPAN,
    LINE_MAX,
    FirmwareEvent,
    Hello,
    LineReader,
    Reply,
    RequestLine,
    Telemetry,
    seal,
    unseal,
    wrapped,
)

ROW = "~ 4000 ready 1 12 786432 -5 300 40 -3 12010 215 0 7 done none 3 55 -1024 0 2 host 1500 1"


def test_a_line_is_body_star_sum_and_end() -> None:
    # CRC-32/ISO-HDLC of 123456789, from the catalogue of parametrised CRC algorithms
    assert seal("123456789") == b"123456789*cbf43926\n"


def test_the_longest_line_has_200_bytes_and_no_more() -> None:
    assert len(seal("x" * (LINE_MAX - 10))) == LINE_MAX
    with pytest.raises(ValueError, match="longer"):
        seal("x" * (LINE_MAX - 9))


@pytest.mark.parametrize("body", ["tab\there", "caf\u00e9", "\x7f"])
def test_only_printable_characters_are_sent(body: str) -> None:
    with pytest.raises(ValueError):
        seal(body)


@pytest.mark.parametrize(
    "line", [b"1 beat*00000000", b"", b"*", b"1 beat", seal("1 beat")[:-1].upper(), b"1 b\x01eat*" + b"0" * 8]
)
def test_a_line_that_fails_its_check_is_none(line: bytes) -> None:
    assert unseal(line) is None


@given(st.lists(st.text(st.characters(min_codepoint=0x20, max_codepoint=0x7E), max_size=190)), st.randoms())
def test_bodies_come_out_as_they_went_in_however_the_bytes_are_cut(bodies: list[str], dice: random.Random) -> None:
    stream = b"".join(map(seal, bodies))
    reader, found = LineReader(), []
    while stream:
        cut = dice.randint(1, 70)
        found += reader.feed(stream[:cut])
        stream = stream[cut:]
    assert found == bodies
    assert reader.dropped == 0


@given(st.binary(max_size=600))
def test_after_any_garbage_the_reader_is_in_step_at_the_next_line_end(garbage: bytes) -> None:
    reader = LineReader()
    reader.feed(garbage + b"\n")
    assert reader.feed(seal("5 beat")) == ["5 beat"]


def test_an_endless_line_takes_no_memory_and_counts_once() -> None:
    reader = LineReader()
    for _ in range(1000):
        assert reader.feed(b"x" * 100) == []
    assert len(reader._part) < LINE_MAX
    assert reader.feed(b"\n" + seal("1 beat")) == ["1 beat"]
    assert reader.dropped == 1


def test_a_forgotten_beginning_does_not_spoil_the_next_line() -> None:
    reader = LineReader()
    reader.feed(b"half a li")
    reader.forget()
    assert reader.feed(seal("1 beat")) == ["1 beat"]


@pytest.mark.parametrize(
    "reply",
    [
        Reply(7, ok=True),
        Reply(7, ok=True, fields=("12", "0", "0")),
        Reply(2**30, ok=False, reason="late"),
        Reply(1, ok=False, reason="range", detail="kp_num"),
    ],
)
def test_a_reply_survives_the_way(reply: Reply) -> None:
    assert Reply.from_body(reply.to_body()) == reply


@pytest.mark.parametrize("body", ["", "7", "7 yes", "x ok", "7 no", "7 no because", "~ 1 ready", "7ok", "\u00b2 ok"])
def test_what_is_no_reply_is_none(body: str) -> None:
    assert Reply.from_body(body) is None


def test_telemetry_survives_the_way() -> None:
    row = Telemetry.from_body(ROW)
    assert row is not None
    assert (row.t, row.state, row.how, row.fault, row.number, row.marks) == (4000, "ready", "done", "none", 3, 2)
    assert row.to_body() == ROW


@pytest.mark.parametrize(
    ("old", "new"),
    [
        (" ready ", " asleep "),
        (" done ", " gone "),
        (" none ", " bad-luck "),
        ("4000", "-1"),
        ("4000", str(CLOCK_SPAN)),
        (" 12 ", " 1x2 "),
        (" 2", ""),
        ("~ ", "! "),
    ],
)
def test_telemetry_that_cannot_be_is_none(old: str, new: str) -> None:
    assert Telemetry.from_body(ROW.replace(old, new)) is None


def test_the_other_bodies_survive_the_way() -> None:
    assert RequestLine(3, "plan", (1, 2, 3, 4)).to_body() == "3 plan 1 2 3 4"
    event = FirmwareEvent(10, "ended", ("4", "done"))
    assert FirmwareEvent.from_body(event.to_body()) == event
    assert FirmwareEvent.from_body("! 10 party") is None
    hello = Hello.from_fields(("00c0ffee", "1", "0.1.0", "pico", "b7", "1", "3", "none", "deadbeef", "turn,jog"))
    assert hello is not None
    assert (hello.homed, hello.known, hello.caps) == (True, 3, ("turn", "jog"))
    assert Hello.from_fields(("00c0ffee", "x")) is None


@pytest.mark.parametrize(
    ("difference", "expected"),
    [(0, 0), (5, 5), (-5, -5), (CLOCK_SPAN - 5, -5), (5 - CLOCK_SPAN, 5), (CLOCK_SPAN // 2, -(CLOCK_SPAN // 2))],
)
def test_times_are_compared_across_the_wrap(difference: int, expected: int) -> None:
    assert wrapped(difference) == expected
