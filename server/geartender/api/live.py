"""The live socket `/api/v1/live`: values and events out, hold-to-run and stop in.

A jog lives by being repeated: 300 ms without a repetition end it, and losing the socket ends it at once. A listener that
does not read holds up nobody: what waits for it is bounded, and when that is full the socket is closed.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import logging
from collections.abc import Callable
from typing import Annotated, Any, Literal

from fastapi import APIRouter
from pydantic import Field, SecretStr, TypeAdapter, ValidationError
from starlette.websockets import WebSocket, WebSocketDisconnect, WebSocketState

from geartender.access.admissions import NOBODY
from geartender.access.entrance import ADMISSION, client_of
from geartender.access.limits import Bucket, Rate
from geartender.access.roles import Role, needs
from geartender.access.tokens import TOKEN_MAX_CHARS
from geartender.api.deps import ServiceDep, admission_of, client_name, servo_for, who_is
from geartender.api.outbox import Message, Outbox, TooSlow
from geartender.api.problems import mistakes_in, problem_of
from geartender.api.service import Service
from geartender.errors import GeartenderError, Refused, Unauthenticated
from geartender.problems import problem_body
from geartender.servo.motions import Who
from geartender.servo.requests import Request
from geartender.servo.servo import Servo
from geartender.servo.subscription import Subscription

log = logging.getLogger(__name__)
router = APIRouter()

JOG_REPEAT_S = 0.3
"""s; a jog that is not repeated within it ends. Shorter, and a hiccup of the radio stops it; longer, and a lost finger moves on."""

JOG_PASSED_ON_S = 0.05
"""s; repetitions of the same speed that come faster than this are not passed on: they would only fill the serial line."""

MESSAGE_MAX_CHARS = 4096
"""Characters; the longest real message has a hundred."""

NAMED_WITHIN_S = 5.0
"""s that a socket without a cookie or a key has for its first message, which brings one."""

UNNAMED_MAX = 16
"""Sockets that may wait for it at once: whoever was not let in must not take the places of those who were."""

MESSAGES = Rate(per_s=500.0, at_once=2000.0)
"""Messages of one socket, Stop apart. A thumb that holds sends ten a second, a poor script a thousand for a moment; whoever sends
more than that is cut off, before reading it takes a tenth of a small board."""

SOCKETS_EACH = 32
"""Sockets of one phone or key: all its tabs, and those not known yet to be gone; half of all, so that it alone locks nobody out."""

SOCKETS_MAX = 64
"""Sockets; a household of phones, and few enough for a small board."""

CLOSE_WAIT_S = 1.0
"""s; a listener that does not even read the close is dropped without it."""

CLOSE_NOT_TEXT = 4400
CLOSE_NOT_LET_IN = 4401
CLOSE_TOO_SLOW = 4408
CLOSE_TOO_LONG = 4413
CLOSE_TOO_MANY = 4429


class Hello(Request):
    """Names the client, as `Geartender-Client` does over HTTP; as the first message it may bring the key."""

    type: Literal["hello"]
    client: str | None = None
    key: Annotated[SecretStr, Field(max_length=TOKEN_MAX_CHARS)] | None = None


class Subscribe(Request):
    """Ask for snapshots, events and telemetry of a servo; again, to change the rate."""

    type: Literal["subscribe"]
    servo: str
    rate_hz: Annotated[float, Field(ge=1, le=50)] = 20.0


class Jog(Request):
    """Move while this is repeated; speed 0 ends it."""

    type: Literal["jog"]
    servo: str
    speed_deg_s: float


class Stop(Request):
    """Stop."""

    type: Literal["stop"]
    servo: str
    category: Literal[0, 1, 2] = 1


FromClient: TypeAdapter[Hello | Subscribe | Jog | Stop] = TypeAdapter(
    Annotated[Hello | Subscribe | Jog | Stop, Field(discriminator="type")]
)


class SocketOver(Exception):
    """The conversation ends, with this close code."""

    def __init__(self, code: int, reason: str) -> None:
        super().__init__(reason)
        self.code = code
        self.reason = reason


class HeldJogs:
    """The jogs that one socket holds: ends each unless it is repeated in time."""

    def __init__(self, monotonic: Callable[[], float]) -> None:
        self._monotonic = monotonic
        self._held: dict[str, tuple[Servo, asyncio.TimerHandle, float, float]] = {}

    def hold(self, servo: Servo, who: Who, speed_deg_s: float) -> None:
        """Begin or repeat a jog. Raises Refused."""
        now = self._monotonic()
        before = self._held.get(servo.name)
        passed_on = now
        if before is not None and before[2] == speed_deg_s and now - before[3] < JOG_PASSED_ON_S:
            passed_on = before[3]
        else:
            servo.jog(who, speed_deg_s)
        if before is not None:
            before[1].cancel()
        timer = asyncio.get_running_loop().call_later(JOG_REPEAT_S, self.end, servo, who)
        self._held[servo.name] = (servo, timer, speed_deg_s, passed_on)

    def end(self, servo: Servo, who: Who) -> None:
        """End the jog of this servo, if this socket holds one."""
        held = self._held.pop(servo.name, None)
        if held is not None:
            held[1].cancel()
            servo.end_jog(who)

    def end_all(self, who: Who) -> None:
        """End whatever this socket holds."""
        for servo, *_ in list(self._held.values()):
            self.end(servo, who)


class Session:
    """One socket from its opening to its end."""

    def __init__(self, service: Service, socket: WebSocket, name: str | None) -> None:
        self._service = service
        self._socket = socket
        self._admission = admission_of(socket)
        self._who = who_is(socket, name)
        self._outbox = Outbox()
        self._messages = Bucket(MESSAGES)
        self._waiting = asyncio.Event()
        self._jogs = HeldJogs(service.world.monotonic)
        self._subscriptions: dict[str, Subscription] = {}

    async def run(self) -> SocketOver | None:
        """Talk until either side ends it; what is left to tell the other side, or None when it is gone."""
        over: SocketOver | None = None
        try:
            async with asyncio.TaskGroup() as tasks:
                tasks.create_task(self._write())
                tasks.create_task(self._read(tasks))
                tasks.create_task(self._until_let_in_no_longer())
        except* SocketOver as ended:
            over = next(error for error in ended.exceptions if isinstance(error, SocketOver))
        except* (WebSocketDisconnect, OSError):
            pass
        finally:
            for subscription in self._subscriptions.values():
                subscription.close()
        return over

    async def _until_let_in_no_longer(self) -> None:
        """End the socket when its phone or key is revoked, expires, or gets another role."""
        one = self._admission.credential
        if one is None:
            return
        over = asyncio.Event()
        register = self._service.admissions.register
        left = None if one.expires_at is None else (one.expires_at - self._service.world.wall()).total_seconds()
        with register.listening(one.id, over.set), contextlib.suppress(TimeoutError):
            async with asyncio.timeout(left):
                await over.wait()
        raise SocketOver(CLOSE_NOT_LET_IN, "let in no longer, or for something else")

    async def _read(self, tasks: asyncio.TaskGroup) -> None:
        try:
            while True:
                message = await self._socket.receive()
                if message["type"] == "websocket.disconnect":
                    raise WebSocketDisconnect(message.get("code", 1005))
                self._obey(message.get("text"), tasks)
        finally:
            self._jogs.end_all(self._who)

    def _obey(self, text: str | None, tasks: asyncio.TaskGroup) -> None:
        if text is None:
            raise SocketOver(CLOSE_NOT_TEXT, "only text messages")
        if len(text) > MESSAGE_MAX_CHARS:
            raise SocketOver(CLOSE_TOO_LONG, "message too long")
        try:
            message = FromClient.validate_json(text)
            if not isinstance(message, Stop):
                self._count_message()
            self._do(message, tasks)
        except ValidationError as error:
            self._count_message()
            found = [{**one, "loc": ("body", *one["loc"])} for one in error.errors()]
            self._put(
                _refused(None, problem_body("invalid", "That message makes no sense.", errors=mistakes_in(found)))
            )
        except GeartenderError as error:
            slug, detail, extra = problem_of(error)
            self._put(_refused(_servo_named_in(text), problem_body(slug, detail, **extra)))

    def _count_message(self) -> None:
        if self._messages.take(self._service.world.monotonic()) > 0.0:
            raise SocketOver(CLOSE_TOO_MANY, "too many messages")

    def _do(self, message: Hello | Subscribe | Jog | Stop, tasks: asyncio.TaskGroup) -> None:
        if isinstance(message, Hello):
            self._jogs.end_all(self._who)
            self._who = who_is(self._socket, None if message.client is None else client_name(message.client))
            return
        servo = servo_for(self._service, self._admission, message.servo)
        if isinstance(message, Stop):
            servo.stop(self._who, message.category)
            return
        if isinstance(message, Jog):
            self._admission.require(Role.DRIVE)
        if isinstance(message, Subscribe):
            self._subscribe(servo, message.rate_hz, tasks)
        elif message.speed_deg_s == 0:
            self._jogs.end(servo, self._who)
        else:
            self._jogs.hold(servo, self._who, message.speed_deg_s)

    def _subscribe(self, servo: Servo, rate_hz: float, tasks: asyncio.TaskGroup) -> None:
        self._outbox.pace(servo.name, rate_hz)
        if servo.name not in self._subscriptions:
            self._subscriptions[servo.name] = subscription = servo.subscribe()
            tasks.create_task(self._listen(subscription))

    async def _listen(self, subscription: Subscription) -> None:
        async for message in subscription:
            self._put(message)

    def _put(self, message: Message) -> None:
        try:
            self._outbox.put(message)
        except TooSlow:
            raise SocketOver(CLOSE_TOO_SLOW, "too slow") from None
        self._waiting.set()

    async def _write(self) -> None:
        while True:
            message = self._outbox.take(self._service.world.monotonic())
            if message is None:
                await self._something_to_send()
            else:
                await self._socket.send_text(json.dumps(self._for_this_client(message), allow_nan=False))

    async def _something_to_send(self) -> None:
        due = self._outbox.due()
        self._waiting.clear()
        try:
            async with asyncio.timeout(None if due is None else max(0.0, due - self._service.world.monotonic())):
                await self._waiting.wait()
        except TimeoutError:
            pass

    def _for_this_client(self, message: Message) -> Message:
        """A snapshot is taken afresh for whoever reads it: newest values, and whether the helm is theirs."""
        if message["type"] != "snapshot":
            return message
        snapshot = self._service.servo(message["servo"]).snapshot(self._who)
        return {**message, "snapshot": snapshot.model_dump(mode="json")}


def _refused(servo: str | None, problem: dict[str, Any]) -> Message:
    named = {} if servo is None else {"servo": servo}
    return {"type": "event", **named, "event": "refused", "text": problem["detail"], "problem": problem}


def _servo_named_in(text: str) -> str | None:
    """The servo that a valid message speaks of, if it does."""
    name: str | None = json.loads(text).get("servo")
    return name


@router.websocket("/live")
@needs(Role.WATCH, any_servo=True)
async def live(socket: WebSocket, service: ServiceDep) -> None:
    """Serve one socket; Host, Origin, and the cookie or key if there was one, were checked before."""
    await socket.accept()
    try:
        over = await _converse(socket, service)
    except SocketOver as refused:
        over = refused
    if over is not None and socket.client_state is WebSocketState.CONNECTED:
        await _close(socket, over)


async def _converse(socket: WebSocket, service: Service) -> SocketOver | None:
    """The conversation from its first message on. Raises SocketOver when it cannot begin."""
    name = None if socket.scope[ADMISSION] is not None else await _introduced(socket, service)
    of, sockets = admission_of(socket).id, service.live_sockets
    if sockets.total() >= SOCKETS_MAX or (of and sockets[of] >= SOCKETS_EACH):
        raise SocketOver(CLOSE_TOO_MANY, "too many sockets")
    sockets[of] += 1
    try:
        return await Session(service, socket, name).run()
    finally:
        sockets[of] -= 1


async def _introduced(socket: WebSocket, service: Service) -> str | None:
    """Wait for the first message, which brings a key; gives the client's name, if it brings one. Raises SocketOver."""
    if service.unnamed_sockets >= UNNAMED_MAX:
        raise SocketOver(CLOSE_TOO_MANY, "too many sockets")
    service.unnamed_sockets += 1
    try:
        async with asyncio.timeout(NAMED_WITHIN_S):
            text = (await socket.receive()).get("text") or ""
        hello = Hello.model_validate_json(text[: MESSAGE_MAX_CHARS + 1])
        if hello.key is None:
            raise Unauthenticated(NOBODY)
        admission = service.admissions.recognised(hello.key.get_secret_value(), None)
        if admission is None:
            raise service.admissions.refused(client_of(socket.scope), "key")
        socket.scope[ADMISSION] = admission
        return None if hello.client is None else client_name(hello.client)
    except (TimeoutError, ValidationError, Refused):
        raise SocketOver(CLOSE_NOT_LET_IN, "the first message must be a hello with a key") from None
    finally:
        service.unnamed_sockets -= 1


async def _close(socket: WebSocket, over: SocketOver) -> None:
    log.info("live socket closed by us: %s (%d)", over.reason, over.code)
    try:
        async with asyncio.timeout(CLOSE_WAIT_S):
            await socket.close(over.code, over.reason)
    except (TimeoutError, OSError, RuntimeError, WebSocketDisconnect):
        log.debug("the listener was gone before its close")
