"""Lines and requests: what the firmware obeys, refuses, repeats and forgets."""

import pytest

from geartender.firmware import tick
from geartender.firmware.core import REPLIES_KEPT
from geartender.firmware.lines import LINE_MAX, LineReader, encode
from geartender.firmware.version import PROTOCOL, VERSION
from tests.firmware.kit import Bench


def test_only_hello_and_the_category_0_stop_are_obeyed_before_a_conversation():
    bench = Bench(greet=False)
    bench.raw("7 arm 100000")
    bench.raw("stop 1 5")
    bench.run(0.02)
    assert bench.replies[7] == ["no", "hello"]
    assert bench.state[tick.STOP_NUMBER] == 0
    bench.raw("stop 0 6")
    bench.run(0.02)
    assert bench.state[tick.STOP_NUMBER] == 6


def test_hello_tells_who_it_is_and_finds_it_disarmed():
    bench = Bench().ready()
    words = bench.hello("12345678")
    assert words[:4] == ["ok", "12345678", str(PROTOCOL), VERSION]
    assert words[6] == "1", "the position is still known"
    assert bench.telemetry["state"] == "disarmed"


def test_a_repeated_hello_is_answered_from_memory_and_disarms_nobody():
    bench = Bench(greet=False)
    bench.hello()
    bench.give_settings()
    bench.arm()
    bench.raw(f"1001 hello 0badcafe {PROTOCOL}")
    bench.run(0.02)
    assert bench.state[tick.MODE] == tick.REST


def test_a_repeated_request_is_answered_again_and_done_once():
    bench = Bench().ready()
    asked = bench.send("turn", 5, bench.after(0.2), 65536, 0)
    bench.until(lambda: asked in bench.replies)
    bench.raw("stop 2 1")
    bench.until(lambda: bench.telemetry["state"] == "ready")
    bench.replies.clear()
    bench.raw(f"{asked} turn 5 {bench.after(0.2)} 65536 0")
    bench.run(0.1)
    assert bench.replies[asked] == ["ok"]
    assert bench.telemetry["state"] == "ready"


def test_requests_are_obeyed_in_order_only():
    bench = Bench()
    bench.raw(f"{bench.sent_ids + 2} rate 20")
    bench.run(0.01)
    assert bench.replies[bench.sent_ids + 2] == ["no", "order"]
    assert bench.ask("rate", 20) == ["ok"]


def test_an_id_that_has_left_the_window_is_refused():
    bench = Bench()
    first = bench.send("rate", 20)
    for _ in range(REPLIES_KEPT):
        bench.ask("rate", 20)
    bench.replies.clear()
    bench.raw(f"{first} rate 20")
    bench.run(0.01)
    assert bench.replies[first] == ["no", "stale"]


@pytest.mark.parametrize(
    ("words", "reason"),
    [
        (("dance",), "verb"),
        (("arm",), "fields"),
        (("arm", "soon"), "fields"),
        (("rate", 5), "range"),
        (("set", "polarity=0"), "range"),
        (("set", "kp_num=x"), "fields"),
        (("set", "nonsense=1"), "range"),
        (("home", 1, 1 << 29), "disarmed"),
        (("turn", 1, 1 << 29, 100, 0), "disarmed"),
    ],
)
def test_what_makes_no_sense_is_refused_with_its_reason(words, reason):
    assert Bench().ask(*words)[:2] == ["no", reason]


def test_a_request_that_comes_too_late_does_not_move():
    bench = Bench().ready()
    deadline = bench.now
    bench.run(0.05)
    assert bench.ask("turn", 5, deadline, 65536, 0) == ["no", "late"]


def test_settings_are_stored_all_or_none_and_not_while_armed():
    bench = Bench()
    before = bench.ask("settings")
    assert bench.ask("set", "kp_num=7", "kp_shift=99") == ["no", "range", "kp_shift"]
    assert bench.ask("settings") == before
    bench.arm()
    assert bench.ask("set", "kp_num=7") == ["no", "armed"]


def test_a_ramp_that_the_tick_could_not_hold_in_32_bits_is_refused():
    assert Bench().ask("set", "ramp_accel=1000000", "ramp_jerk=1")[:2] == ["no", "range"]


def test_it_does_not_arm_without_settings():
    bench = Bench(greet=False)
    bench.hello()
    assert bench.ask("arm", 1 << 20) == ["no", "unset", "polarity"]


def test_the_reader_finds_its_way_back_after_any_rubbish():
    reader = LineReader()
    good = encode("1 beat")
    assert reader.feed(b"\xff\x00 garbage" + good) == []
    assert reader.feed(good) == ["1 beat"]
    assert reader.feed(b"x" * (3 * LINE_MAX) + b"\n" + good[:4]) == []
    assert reader.feed(good[4:]) == ["1 beat"]
    assert reader.feed(good.replace(b"1", b"2", 1)) == []
    assert reader.bad == 3


def test_a_category_0_stop_in_the_same_breath_wins_over_the_arming_before_it():
    bench = Bench()
    bench.send("arm", bench.after(0.2))
    bench.raw("stop 0 9")
    bench.run(0.02)
    assert bench.state[tick.MODE] == tick.OFF
    assert bench.telemetry["number"] == 9
