"""Listeners: the first message is a snapshot, the newest telemetry is what counts, and nobody holds up the servo."""

import asyncio
from typing import Any

from geartender.servo.requests import MoveRequest
from geartender.servo.subscription import EVENTS_MAX, Subscription
from tests.servo.rig import ANNA, BERT, Rig, on_rig


def drained(subscription: Subscription) -> list[dict[str, Any]]:
    messages = []
    while (message := subscription._take()) is not None:
        messages.append(message)
    return messages


def test_of_telemetry_and_snapshots_only_the_newest_is_kept_and_lost_events_are_counted() -> None:
    subscription = Subscription(None, lambda _: None)
    for number in range(EVENTS_MAX + 6):
        subscription.put({"type": "event", "n": number})
        subscription.put({"type": "telemetry", "n": number})
        subscription.put({"type": "snapshot", "n": number})
    messages = drained(subscription)
    events = [message for message in messages if message["type"] == "event"]
    assert [message["n"] for message in events] == list(range(6, EVENTS_MAX + 6))
    assert events[0]["missed_before"] == 6
    assert [message["n"] for message in messages[EVENTS_MAX:]] == [EVENTS_MAX + 5] * 2


def test_a_closed_one_ends_its_loop_and_is_forgotten() -> None:
    async def scenario(rig: Rig) -> None:
        subscription = rig.servo.subscribe()
        seen = []

        async def listen() -> None:
            seen.extend([message async for message in subscription])

        task = asyncio.create_task(listen())
        await rig.connected()
        subscription.close()
        await task
        assert seen[0]["type"] == "snapshot"
        assert not rig.servo._subscriptions

    on_rig(scenario)


def test_a_move_can_be_followed_from_its_start_to_its_end() -> None:
    async def scenario(rig: Rig) -> None:
        await rig.homed()
        anna, bert = rig.servo.subscribe(ANNA), rig.servo.subscribe(BERT)
        first = drained(anna)[0]
        assert first["snapshot"]["helm"]["yours"] is True
        assert drained(bert)[0]["snapshot"]["helm"]["yours"] is False
        motion = await rig.servo.move(ANNA, MoveRequest(to_deg=12))
        types, angles = [], []
        while not motion.final:
            await asyncio.sleep(0.02)
            for message in drained(anna):
                types.append(message["type"])
                if message["type"] == "telemetry":
                    angles.append(message["angle_deg"])
                    assert message["state"] in ("ready", "moving")
        assert {"snapshot", "event", "telemetry"} <= set(types)
        assert len(angles) > 20
        assert max(angles) - min(angles) > 11

    on_rig(scenario)
