"""A short conversation with the firmware on a port: who is there, and a request to put the program to rest."""

from __future__ import annotations

import asyncio
import contextlib

from geartender.errors import GaveUp, InstallError, QueueFull
from geartender.link.events import Event, Incompatible, Opened
from geartender.link.lines import Hello
from geartender.link.session import Link
from geartender.world import World, real_world

GREET_S = 4.0
"""s to wait for a greeting to be answered, the opening of the port included."""
ANSWER_S = 2.0
"""s to wait for the answer to a request."""


class _Guest:
    """Takes the events of a link; keeps who answered."""

    def __init__(self) -> None:
        self.heard = asyncio.Event()
        self.hello: Hello | None = None
        self.other_protocol = False

    def on_link_event(self, event: Event) -> None:
        """Something happened in the conversation."""
        if isinstance(event, Opened):
            self.hello = event.hello
            self.heard.set()
        elif isinstance(event, Incompatible):
            self.other_protocol = True
            self.heard.set()


async def converse(port: str, world: World, *, rest: bool) -> Hello | None:
    """Greet whoever is at the port; None when no firmware of ours answers. With `rest`, put its program to rest.

    Raises InstallError when it will not rest.
    """
    guest = _Guest()
    link = Link("the board", world.opener(port), guest, world.random, world.monotonic)
    task = asyncio.create_task(link.run())
    try:
        with contextlib.suppress(TimeoutError):
            await asyncio.wait_for(guest.heard.wait(), GREET_S)
        if guest.hello is not None and rest:
            await _rest(link)
        return guest.hello
    finally:
        task.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await task


async def _rest(link: Link) -> None:
    try:
        reply = await link.request("maintain", give_up_after_s=ANSWER_S)
    except (GaveUp, QueueFull):
        return  # it may have gone before its answer came; whether it rests shows next
    if not reply.ok:
        why = (
            "Something leads or drives it: disarm it first." if reply.reason == "armed" else f"It says {reply.reason}."
        )
        raise InstallError(f"The board's program cannot be put to rest. {why}")


class Conversation:
    """The same from code that is not a coroutine."""

    def hello(self, port: str) -> Hello | None:
        """Greet whoever is at the port."""
        return asyncio.run(converse(port, real_world(), rest=False))

    def put_to_rest(self, port: str) -> Hello | None:
        """Greet, and put the program to rest; None when nobody answered. Raises InstallError."""
        return asyncio.run(converse(port, real_world(), rest=True))
