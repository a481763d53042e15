"""The conversation with the firmware's own core, over lines of every temper; no loop, no clock but the one made up here."""

from __future__ import annotations

import random
from itertools import pairwise

import pytest

from geartender.errors import QueueFull
from geartender.firmware.tick import NOW, STOP_NUMBER
from geartender.link.events import Closed, Incompatible, Opened, Outcome, Phase, StopConfirmed
from geartender.link.exchange import BEAT_S, QUEUE_MAX, STALE_S, WINDOW, Exchange
from geartender.link.lines import Reply, seal
from tests.link.board import Board, Carrier, Talk, any_settings, plain_line


def opened() -> Talk:
    talk = Talk()
    talk.open()
    talk.events.clear()
    return talk


def deaf(talk: Talk, way: str) -> Carrier:
    """A line that carries nothing in one direction."""
    whole = plain_line()
    return lambda data, now, to: [] if to == way else whole(data, now, to)


def armed(talk: Talk) -> None:
    fields = any_settings()
    for start in range(0, len(fields), 6):
        talk.ask("set", *fields[start : start + 6])
    talk.run(0.3)
    request = talk.ask("arm", talk.exchange.clock.wire(talk.now + 0.5))
    talk.run(0.1)
    assert request.reply == Reply(request.id or 0, ok=True)


def test_hello_opens_the_conversation_and_tells_who_is_there() -> None:
    talk = Talk()
    talk.open()
    hello = next(event.hello for event in talk.events if isinstance(event, Opened))
    assert (hello.board, hello.boot, hello.homed, hello.known) == ("board-1", "b1", False, 0)


def test_hello_is_said_again_until_somebody_hears_it() -> None:
    talk = Talk()
    talk.carry = deaf(talk, "down")
    talk.connect()
    talk.run(3.0)
    assert talk.exchange.phase is Phase.OPENING
    talk.carry = plain_line()
    talk.run(0.5)
    assert talk.exchange.phase is Phase.OPEN


def test_an_answer_to_another_hello_opens_nothing() -> None:
    exchange = Exchange(random.Random(1))
    exchange.connect(0.0)
    hello_id = int(exchange.data_to_send(0.0).split(b" ")[0])
    exchange.receive(seal(f"{hello_id} ok 00000000 2 v b x 0 0 none 00000000 turn"), 0.01)
    assert exchange.phase is Phase.OPENING
    exchange.receive(seal(f"{hello_id + 1} ok 00000000 2 v b x 0 0 none 00000000 turn"), 0.01)
    assert exchange.phase is Phase.OPENING


def test_each_conversation_has_its_own_ids_and_token() -> None:
    exchange, lines = Exchange(random.Random(1)), set()
    for _ in range(50):
        exchange.connect(0.0)
        lines.add(exchange.data_to_send(0.0))
    assert len(lines) == 50


@pytest.mark.parametrize("answer", ["ok {token} 9 9.9.9 b x 0 0 none 00000000 turn", "no protocol 2"])
def test_another_protocol_is_told_plainly_and_greeted_rarely(answer: str) -> None:
    exchange = Exchange(random.Random(1))
    exchange.connect(0.0)
    hello_id, _, token, *_ = exchange.data_to_send(0.0).decode().split(" ")
    exchange.receive(seal(f"{hello_id} {answer.format(token=token)}"), 0.1)
    (event,) = exchange.events()
    assert isinstance(event, Incompatible)
    assert "install" in event.reason
    assert exchange.data_to_send(1.0) == b""
    assert exchange.data_to_send(6.0) != b""


def test_requests_are_answered_in_order_and_never_more_than_the_window_is_out() -> None:
    talk = opened()
    requests = [talk.ask("settings") for _ in range(30)]
    most = 0
    while any(request.outcome is Outcome.WAITING for request in requests):
        talk.step()
        most = max(most, sum(1 for one in requests if one.sends and one.outcome is Outcome.WAITING))
    assert most <= WINDOW
    ids = [request.id for request in requests]
    assert all(one.outcome is Outcome.ANSWERED and one.reply and one.reply.ok for one in requests)
    assert ids == sorted(ids, key=lambda one: one or 0)


def test_a_full_queue_refuses_at_once() -> None:
    talk = opened()
    for _ in range(QUEUE_MAX):
        talk.ask("settings")
    with pytest.raises(QueueFull):
        talk.ask("settings")


def test_without_a_conversation_nothing_is_taken() -> None:
    with pytest.raises(QueueFull):
        Exchange(random.Random(1)).request("beat", (), 0.0, 1.0)


def test_a_request_too_long_for_a_line_is_refused_where_it_is_made() -> None:
    talk = opened()
    with pytest.raises(ValueError, match="longer"):
        talk.ask("set", *(f"{name}=1" for name in ["x" * 50] * 4))


def test_only_the_newest_jog_is_kept() -> None:
    talk = opened()
    blockers = [talk.ask("settings") for _ in range(WINDOW)]
    talk.exchange.data_to_send(talk.now)
    jogs = [talk.exchange.request("jog", (1, 2, speed), talk.now, 1.0, newest_only=True) for speed in range(5)]
    assert [jog.outcome for jog in jogs] == [Outcome.DROPPED] * 4 + [Outcome.WAITING]
    talk.run(0.2)
    assert all(blocker.outcome is Outcome.ANSWERED for blocker in blockers)
    assert jogs[-1].outcome is Outcome.ANSWERED


@pytest.mark.parametrize("way", ["up", "down"])
def test_whatever_gets_lost_is_sent_again_and_done_once(way: str) -> None:
    """Half of the lines are lost in one direction; the settings arrive all the same, each once."""
    talk = opened()
    dice = random.Random(7)

    def carry(data: bytes, now: float, to: str) -> list[tuple[float, bytes]]:
        lines = data.splitlines(keepends=True)
        return [(now + 0.002, line) for line in lines if to != way or dice.random() > 0.5]

    obeyed: list[str] = []
    inner = talk.board.core.verbs.obey

    def obey(verb: str, words: list[str], overtaken: bool) -> str:
        obeyed.append(f"{verb} {' '.join(words)}")
        return inner(verb, words, overtaken)

    talk.board.core.verbs.obey = obey
    talk.carry = carry
    requests = [talk.ask("set", f"kp_num={number}", give_up_after_s=30) for number in range(20)]
    talk.run(8.0)
    assert [one.outcome for one in requests] == [Outcome.ANSWERED] * 20
    assert [line for line in obeyed if line.startswith("set")] == [f"set kp_num={number}" for number in range(20)]


def test_a_request_given_up_leaves_its_place_to_a_beat_and_the_next_ones_go_on() -> None:
    talk = opened()
    whole = plain_line()

    def carry(data: bytes, now: float, to: str) -> list[tuple[float, bytes]]:
        return [
            piece
            for line in data.splitlines(keepends=True)
            if b"kp_num=7" not in line
            for piece in whole(line, now, to)
        ]

    talk.carry = carry
    lost = talk.ask("set", "kp_num=7", give_up_after_s=0.3)
    kept = talk.ask("set", "kp_num=8")
    talk.run(1.0)
    assert (lost.outcome, kept.outcome) == (Outcome.GIVEN_UP, Outcome.ANSWERED)
    assert talk.exchange.phase is Phase.OPEN
    assert talk.board.core.settings._held["kp_num"] == 8


def test_a_stop_goes_before_everything_that_waits_and_is_said_until_telemetry_shows_it() -> None:
    talk = opened()
    armed(talk)
    for _ in range(20):
        talk.ask("settings")
    number = talk.exchange.stop(0, talk.now)
    assert talk.exchange.data_to_send(talk.now).startswith(b"stop 0 %d*" % number)
    talk.carry = deaf(talk, "down")
    talk.run(0.2)
    assert talk.exchange.stop_pending == number
    talk.carry = plain_line()
    talk.run(0.2)
    assert talk.exchange.stop_pending is None
    assert StopConfirmed(number) in talk.events
    assert talk.board.core.state[STOP_NUMBER] == number
    sent = talk.exchange.data_to_send(talk.now + 0.05)
    assert b"stop" not in sent


def test_of_two_unconfirmed_stops_the_harder_one_counts() -> None:
    talk = opened()
    first = talk.exchange.stop(0, talk.now)
    second = talk.exchange.stop(2, talk.now)
    assert second == first + 1
    assert talk.exchange.data_to_send(talk.now).startswith(b"stop 0 %d*" % second)


def test_after_a_stop_what_could_move_and_waited_is_dropped_and_told() -> None:
    talk = opened()
    armed(talk)
    sent = talk.ask("turn", 5, talk.exchange.clock.wire(talk.now + 1), 1000, 0)
    talk.carry = deaf(talk, "down")
    talk.run(0.01)
    waiting = [talk.ask("jog", 6, 1, 1000) for _ in range(WINDOW)]
    harmless = talk.ask("settings")
    talk.exchange.stop(2, talk.now)
    assert sent.outcome is Outcome.DROPPED
    assert {request.outcome for request in waiting} == {Outcome.DROPPED}
    talk.carry = plain_line()
    talk.run(0.5)
    assert harmless.outcome is Outcome.ANSWERED
    assert all(row.motion == 0 and row.ended == 0 for row in talk.telemetry)


def test_the_stop_works_before_hello_is_answered() -> None:
    exchange = Exchange(random.Random(1))
    exchange.connect(0.0)
    exchange.stop(0, 0.0)
    assert exchange.data_to_send(0.0).startswith(b"stop 0 1*")


def test_the_host_beats_every_80_ms_also_while_it_asks_other_things() -> None:
    talk = opened()
    beats = []
    whole = plain_line()

    def carry(data: bytes, now: float, to: str) -> list[tuple[float, bytes]]:
        beats.extend(now for line in data.splitlines() if to == "down" and b" beat" in line)
        return whole(data, now, to)

    talk.carry = carry
    for _ in range(20):
        talk.ask("settings")
        talk.run(0.05)
    gaps = [two - one for one, two in pairwise(beats)]
    assert max(gaps) <= BEAT_S + 2 * talk.STEP_S


@pytest.mark.parametrize("skew", [0.0, 50e-6])
def test_clocks_are_matched_to_a_tick(skew: float) -> None:
    talk = Talk(board=Board(skew=skew))
    talk.open()
    talk.run(40.0)
    assert abs(talk.exchange.clock.wire(talk.now) - talk.board.core.state[NOW]) <= 3000


def test_telemetry_comes_out_in_order_and_none_from_the_past_or_the_future() -> None:
    talk = opened()
    talk.run(1.0)
    newest = talk.telemetry[-1]
    for shift in (0, -20_000, 2_000_000, -2_000_000):
        fake = newest.to_body().replace(f"~ {newest.t} ", f"~ {newest.t + shift} ")
        talk.exchange.receive(seal(fake), talk.now)
    assert talk.exchange.events() == []
    assert talk.exchange.counts.late_telemetry == 4
    talk.run(0.5)
    assert talk.rising()
    assert talk.telemetry[-1].t > newest.t


def test_half_a_second_without_telemetry_ends_the_conversation() -> None:
    talk = opened()
    waiting = talk.ask("settings", give_up_after_s=5)
    talk.carry = deaf(talk, "up")
    talk.run(STALE_S + 0.1)
    assert any(isinstance(event, Closed) for event in talk.events)
    assert waiting.outcome is Outcome.CLOSED
    assert talk.exchange.phase is Phase.CLOSED


def test_a_reset_of_the_board_ends_the_conversation_and_the_next_hello_shows_another_boot() -> None:
    talk = opened()
    talk.board = Board(boot="b2")
    talk.board.ticks = int(talk.now / 0.002)
    talk.run(0.3)
    assert any(isinstance(event, Closed) for event in talk.events)
    talk.events.clear()
    talk.open()
    assert next(event.hello.boot for event in talk.events if isinstance(event, Opened)) == "b2"


def test_answers_missing_for_two_seconds_end_the_conversation_although_telemetry_comes() -> None:
    talk = opened()
    talk.board.core._expected = -1_000_000
    talk.run(2.5)
    closed = [event for event in talk.events if isinstance(event, Closed)]
    assert closed
    assert "answers" in closed[0].reason


def test_an_answer_that_the_line_leads_back_uses_up_no_id() -> None:
    talk = opened()
    talk.run(0.05)
    ahead = talk.exchange._next_id
    talk.board.core.receive(seal(f"{ahead} no order"))
    request = talk.ask("settings")
    talk.run(0.1)
    assert request.id == ahead
    assert request.reply is not None
    assert request.reply.ok


def test_nothing_is_due_while_nothing_is_open() -> None:
    exchange = Exchange(random.Random(1))
    assert exchange.next_deadline() is None
    exchange.connect(3.0)
    assert exchange.next_deadline() == 3.0
    exchange.disconnect("cable out")
    assert exchange.events() == [Closed("cable out")]
    assert exchange.next_deadline() is None
    assert exchange.data_to_send(9.0) == b""
