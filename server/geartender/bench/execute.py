"""Runs a procedure to its end, whatever that is, and leaves the servo disarmed with its own settings."""

from __future__ import annotations

import asyncio
import contextlib
import importlib
from collections.abc import Awaitable, Callable
from typing import NamedTuple

from geartender.bench.models import BenchState
from geartender.bench.session import FoundWrong, Session, SessionOver
from geartender.build.measured import Measured
from geartender.errors import Refused
from geartender.servo.models import ServoState

Work = Callable[[Session], Awaitable[Measured | None]]


class Ended(NamedTuple):
    """How a procedure ended, and what it wants to be kept."""

    state: BenchState
    reason: str | None
    measured: Measured | None


class Listed(NamedTuple):
    """A procedure in the list: its work is loaded only when it begins, with the arrays it needs."""

    name: str
    title: str
    about: str
    steps: tuple[str, ...]
    module: str
    function: str

    def work(self) -> Work:
        """What it does."""
        work: Work = getattr(importlib.import_module(self.module), self.function)
        return work


async def execute(session: Session, work: Work) -> Ended:
    """Do the work of a session that holds its servo. A cancellation from outside goes on, after the servo is disarmed."""
    task = asyncio.current_task()
    assert task is not None  # noqa: S101 - a coroutine runs in one
    session.cancel = task.cancel
    wrong = None
    try:
        if session.ending is not None:  # it was ended before it had begun
            raise session.ending
        measured = await work(session)
        ended = Ended(BenchState.DONE, None, measured)
    except FoundWrong as found:
        wrong = found.wrong
        ended = Ended(BenchState.WRONG, wrong.text, None)
    except SessionOver as over:
        ended = Ended(over.state, over.reason, None)
    except Refused as refused:
        ended = Ended(BenchState.STOPPED, refused.detail, None)
    except asyncio.CancelledError:
        over_ = session.ending
        if over_ is None:
            session.finish(BenchState.STOPPED, "the service was ended", None, session.world.wall())
            raise
        task.uncancel()
        ended = Ended(over_.state, over_.reason, None)
    session.cancel = lambda: None
    if session.ending is not None:  # it was ended while it was ending by itself
        ended = Ended(session.ending.state, session.ending.reason, None)
    await leave(session)
    session.finish(ended.state, ended.reason, wrong, session.world.wall())
    return ended


async def leave(session: Session) -> None:
    """Disarmed, with the servo's own settings, as far as there is a link."""
    servo = session.servo
    with contextlib.suppress(Refused):
        if servo.snapshot().state is ServoState.OFFLINE:
            return
        if servo.live.armed:
            await servo.disarm(session.who)
            await servo.disarmed()
        await servo.try_settings(None)
