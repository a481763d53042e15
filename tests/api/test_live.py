import asyncio
from typing import Any

import pytest

from geartender.api.live import (
    CLOSE_NOT_TEXT,
    CLOSE_TOO_LONG,
    CLOSE_TOO_MANY,
    CLOSE_TOO_SLOW,
    JOG_REPEAT_S,
    SOCKETS_MAX,
)
from geartender.errors import HelmHeld
from tests.api.kit import Kit, run


def telemetry(angle: float) -> dict[str, Any]:
    return {"type": "telemetry", "servo": "vent", "t_s": 0.0, "angle_deg": angle}


def test_a_subscription_begins_with_a_snapshot_taken_for_this_client() -> None:
    async def test(kit: Kit) -> None:
        async with kit.socket() as socket:
            socket.say(type="hello", client="phone-1")
            socket.say(type="subscribe", servo="vent")
            await socket.until(lambda: bool(socket.messages()))
            first = socket.messages()[0]
            assert (first["type"], first["servo"], first["snapshot"]["run"]) == ("snapshot", "vent", "phone-1")
        assert kit.servo.listeners == []

    run(test)


def test_telemetry_keeps_the_rate_asked_for_and_the_newest_value() -> None:
    async def test(kit: Kit) -> None:
        async with kit.socket() as socket:
            socket.say(type="subscribe", servo="vent", rate_hz=5)
            for step in range(100):
                kit.servo.tell(telemetry(step))
                await asyncio.sleep(0.02)
            values = [one["angle_deg"] for one in socket.messages() if one["type"] == "telemetry"]
            assert len(values) == pytest.approx(10, abs=1)
            assert values[-1] >= 85

    run(test)


def test_a_jog_lives_by_being_repeated() -> None:
    async def test(kit: Kit) -> None:
        async with kit.socket() as socket:
            for _ in range(10):
                socket.say(type="jog", servo="vent", speed_deg_s=5)
                await asyncio.sleep(0.1)
            assert set(kit.servo.names()) == {"jog"}
            await asyncio.sleep(JOG_REPEAT_S - 0.11)
            assert set(kit.servo.names()) == {"jog"}
            await asyncio.sleep(0.02)
            assert kit.servo.names()[-1] == "end_jog"
            assert kit.servo.names().count("end_jog") == 1

    run(test)


def test_letting_go_ends_a_jog_at_once() -> None:
    async def test(kit: Kit) -> None:
        async with kit.socket() as socket:
            socket.say(type="jog", servo="vent", speed_deg_s=5)
            socket.say(type="jog", servo="vent", speed_deg_s=0)
            await asyncio.sleep(0.001)
            assert kit.servo.names() == ["jog", "end_jog"]
            await asyncio.sleep(1)
            assert kit.servo.names() == ["jog", "end_jog"]

    run(test)


def test_losing_the_socket_ends_its_jog_at_once() -> None:
    async def test(kit: Kit) -> None:
        async with kit.socket() as socket:
            socket.say(type="hello", client="phone-1")
            socket.say(type="jog", servo="vent", speed_deg_s=5)
            await asyncio.sleep(0.01)
            socket.lose()
            await asyncio.sleep(0.001)
            assert [(call[0], call[1].client) for call in kit.servo.calls] == [
                ("jog", "phone-1"),
                ("end_jog", "phone-1"),
            ]

    run(test)


def test_a_flood_of_repetitions_is_not_passed_on() -> None:
    async def test(kit: Kit) -> None:
        async with kit.socket() as socket:
            for _ in range(1000):
                socket.say(type="jog", servo="vent", speed_deg_s=5)
                await asyncio.sleep(0.001)
            socket.say(type="jog", servo="vent", speed_deg_s=6)
            await asyncio.sleep(0.001)
            assert kit.servo.names().count("jog") <= 22
            assert kit.servo.calls[-1][2] == 6

    run(test)


def test_a_refused_jog_is_told_and_holds_nothing() -> None:
    async def test(kit: Kit) -> None:
        kit.servo.refusal = HelmHeld("held by ada")
        async with kit.socket() as socket:
            socket.say(type="jog", servo="vent", speed_deg_s=5)
            await socket.until(lambda: bool(socket.messages()))
            message = socket.messages()[0]
            assert (message["type"], message["event"], message["servo"]) == ("event", "refused", "vent")
            assert (message["problem"]["type"], message["problem"]["status"]) == ("/problems/helm-held", 409)
        assert kit.servo.names() == ["jog"]

    run(test)


def test_stop_needs_no_hello() -> None:
    async def test(kit: Kit) -> None:
        async with kit.socket() as socket:
            socket.say(type="stop", servo="vent")
            socket.say(type="stop", servo="vent", category=0)
            await asyncio.sleep(0.001)
            assert [(call[0], call[2]) for call in kit.servo.calls] == [("stop", 1), ("stop", 0)]

    run(test)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "{",
        "[]",
        "null",
        '{"type": "arm"}',
        '{"type": "jog", "servo": "vent", "speed_deg_s": NaN}',
        '{"type": "jog", "servo": "vent", "speed_deg_s": 1e999}',
        '{"type": "jog", "servo": "vent"}',
        '{"type": "subscribe", "servo": "vent", "rate_hz": 0.5}',
        '{"type": "subscribe", "servo": "vent", "rate_hz": 51}',
        '{"type": "hello", "client": ""}',
        '{"type": "stop", "servo": "vent", "category": 3}',
        "[" * 4000,
    ],
)
def test_nonsense_is_answered_and_moves_nothing(text: str) -> None:
    async def test(kit: Kit) -> None:
        async with kit.socket() as socket:
            socket.say_raw(text)
            await socket.until(lambda: bool(socket.messages()))
            assert socket.messages()[0]["problem"]["type"] == "/problems/invalid"
            socket.say(type="jog", servo="door", speed_deg_s=1)
            await socket.until(lambda: len(socket.messages()) == 2)
            assert socket.messages()[1]["problem"]["type"] == "/problems/unknown"
        assert kit.servo.calls == []

    run(test)


def test_what_is_no_text_or_too_long_ends_the_socket_and_its_jog() -> None:
    async def test(kit: Kit) -> None:
        for text, code in ((None, CLOSE_NOT_TEXT), ("x" * 5000, CLOSE_TOO_LONG)):
            async with kit.socket() as socket:
                socket.say(type="jog", servo="vent", speed_deg_s=5)
                socket.say_raw(text)  # type: ignore[arg-type]
                await socket.until(lambda: socket.close_code() is not None)
                assert socket.close_code() == code
            assert kit.servo.names()[-1] == "end_jog"

    run(test)


def test_a_listener_that_does_not_read_is_closed_and_holds_up_nobody() -> None:
    async def test(kit: Kit) -> None:
        async with kit.socket() as slow, kit.socket() as quick:
            slow.say(type="subscribe", servo="vent")
            quick.say(type="subscribe", servo="vent")
            await quick.until(lambda: bool(quick.messages()))
            slow.readable.clear()
            for number in range(400):
                kit.servo.tell({"type": "event", "servo": "vent", "event": "audit", "text": str(number)})
                await asyncio.sleep(0.01)
            events = [one["text"] for one in quick.messages() if one["type"] == "event"]
            assert events == [str(number) for number in range(400)]
            assert slow.task.done() or len(kit.servo.listeners) == 1
            slow.readable.set()
            await slow.until(lambda: slow.close_code() is not None or slow.task.done())
            assert slow.close_code() in {CLOSE_TOO_SLOW, None}
            await asyncio.sleep(2)
            assert len(kit.servo.listeners) == 1

    run(test)


def test_sockets_are_bounded() -> None:
    async def test(kit: Kit) -> None:
        sockets = [kit.socket() for _ in range(SOCKETS_MAX)]
        for socket in sockets:
            await socket.__aenter__()
        async with kit.socket() as one_too_many:
            await one_too_many.until(lambda: one_too_many.close_code() is not None)
            assert one_too_many.close_code() == CLOSE_TOO_MANY
        await sockets[0].__aexit__()
        async with kit.socket() as another:
            another.say(type="subscribe", servo="vent")
            await another.until(lambda: bool(another.messages()))
        for socket in sockets[1:]:
            await socket.__aexit__()

    run(test)
