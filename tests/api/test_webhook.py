"""The address of the user's choice hears of each notice: signed, in order, again until taken, and nobody waits for it."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, datetime

import pytest

from geartender.api.webhook import Webhook, signature
from geartender.config import parse_settings
from geartender.errors import ConfigError
from geartender.store.notices import Notice
from geartender.world import World
from geartender.world.virtual import run_virtual

SECRET = "a secret of the ridge vent"
NOTICE = Notice("fault", "vent", "too much", "look", datetime(2031, 3, 1, tzinfo=UTC), "vent")


class Receiver:
    """Takes what it is sent once it has refused `refuse` times."""

    def __init__(self, refuse: int = 0) -> None:
        self.refuse = refuse
        self.got: list[tuple[float, bytes, Mapping[str, str]]] = []
        self.tries = 0
        self.world: World | None = None

    async def post(self, url: str, body: bytes, headers: Mapping[str, str]) -> int:
        assert (url, self.world is not None) == ("http://receiver.example/in", True)
        self.tries += 1
        if self.tries <= self.refuse:
            if self.tries % 2:
                raise OSError("nobody there")
            return 500
        assert self.world is not None
        self.got.append((self.world.monotonic(), body, headers))
        return 204


def with_receiver(receiver: Receiver, notices: int, wait_s: float) -> None:
    async def main(world: World) -> None:
        receiver.world = world = replace(world, post=receiver.post)
        webhook = Webhook("http://receiver.example/in", SECRET, world)
        task = asyncio.create_task(webhook.run())
        for number in range(notices):
            webhook.tell("raised", replace(NOTICE, name=f"{number}"))
        await asyncio.sleep(wait_s)
        task.cancel()

    run_virtual(main)


def test_a_message_is_signed_over_time_and_body() -> None:
    receiver = Receiver()
    with_receiver(receiver, 1, 1.0)
    ((_, body, headers),) = receiver.got
    told = json.loads(body)
    assert (told["change"], told["notice"]["kind"], told["notice"]["advice"]) == ("raised", "fault", "look")
    assert headers["Geartender-Signature"] == signature(SECRET.encode(), headers["Geartender-Time"], body)
    assert headers["Geartender-Signature"] != signature(SECRET.encode(), headers["Geartender-Time"], body + b" ")


def test_messages_come_again_with_growing_pauses_until_taken_and_stay_in_order() -> None:
    receiver = Receiver(refuse=4)
    with_receiver(receiver, 3, 300.0)
    assert [json.loads(body)["notice"]["id"] for _, body, _ in receiver.got] == ["fault:0", "fault:1", "fault:2"]
    assert receiver.got[0][0] == 5 + 10 + 20 + 40


def test_a_receiver_that_never_answers_fills_nothing() -> None:
    receiver = Receiver(refuse=10**9)
    with_receiver(receiver, 1000, 86_400.0)
    assert receiver.got == []
    assert receiver.tries < 40


def test_url_and_secret_belong_together() -> None:
    for table in ({"url": "http://a.example/"}, {"secret": SECRET}, {"url": "ftp://a.example", "secret": SECRET}):
        with pytest.raises(ConfigError):
            parse_settings({"notices": table})
    assert SECRET not in str(parse_settings({"notices": {"url": "http://a.example/", "secret": SECRET}}))
