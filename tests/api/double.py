"""A servo that only writes down what it is asked, and motions that end when a test says so."""

from __future__ import annotations

import asyncio
from datetime import UTC, datetime
from typing import Any

from geartender.build import BuildSheet
from geartender.build.measured import NOTHING, Measured, as_built
from geartender.errors import Busy, Unknown
from geartender.servo.models import LinkReport, MotionKind, MotionState, ServoState, Snapshot
from geartender.servo.motions import Motion, Who
from geartender.servo.requests import MoveRequest, TurnRequest
from geartender.servo.subscription import Subscription

ASKED_AT = datetime(2031, 3, 1, 6, 0, tzinfo=UTC)


class RecordingServo:
    """Same methods as `geartender.servo.servo.Servo`. `refusal`, when set, is what everything but Stop raises."""

    def __init__(self, name: str, sheet: BuildSheet) -> None:
        self.name = name
        self.sheet = sheet
        self.measured = NOTHING
        self.calls: list[tuple[Any, ...]] = []
        self.refusal: Exception | None = None
        self.listeners: list[Subscription] = []
        self.confirmed = asyncio.Event()
        self.holder: Who | None = None
        self._motions: dict[str, Motion] = {}

    def _note(self, *call: Any) -> None:
        self.calls.append(call)
        if self.refusal is not None:
            raise self.refusal

    def _motion(self, kind: MotionKind, who: Who) -> Motion:
        number = len(self._motions) + 1
        motion = Motion(id=f"m-{number}", servo=self.name, kind=kind, who=who, asked_at=ASKED_AT, number=number)
        motion.state = MotionState.RUNNING
        self._motions[motion.id] = motion
        return motion

    def snapshot(self, who: Who | None = None) -> Snapshot:
        link = LinkReport(
            state="connected",
            reason=None,
            round_trip_ms=1.0,
            errors=0,
            reconnects=0,
            firmware_version="0.1.0",
            protocol_version=1,
            board_id="double",
        )
        return Snapshot(
            name=self.name,
            state=ServoState.READY,
            homed=True,
            armed=True,
            held_up=False,
            angle_deg=10.0,
            target_deg=None,
            speed_deg_s=0.0,
            torque_nm=0.0,
            duty=0.0,
            supply_v=12.0,
            winding_c=25.0,
            fault=None,
            helm=None,
            motion=None,
            run=who.client if who else None,  # lets a test see whom the snapshot was taken for
            link=link,
            source="host",
            pulse_us=None,
            override=1.0,
            limits=None,
            travel=None,
            deg_per_count=0.01,
            counts=1000,
            age_s=0.0,
        )

    async def arm(self, who: Who) -> None:
        self._note("arm", who)

    async def disarm(self, who: Who) -> None:
        self._note("disarm", who)

    async def reset(self, who: Who) -> None:
        self._note("reset", who)

    async def give_lead(self, who: Who) -> None:
        self._note("give_lead", who)

    async def take_lead(self, who: Who) -> None:
        self._note("take_lead", who)

    def release_port(self, who: Who) -> None:
        self._note("release", who)

    def reconnect(self, who: Who) -> None:
        self._note("reconnect", who)

    async def home(self, who: Who) -> Motion:
        self._note("home", who)
        return self._motion(MotionKind.HOME, who)

    async def move(self, who: Who, request: MoveRequest) -> Motion:
        self._note("move", who, request)
        return self._motion(MotionKind.MOVE, who)

    async def turn(self, who: Who, request: TurnRequest) -> Motion:
        self._note("turn", who, request)
        return self._motion(MotionKind.TURN, who)

    def stop(self, who: Who, category: int) -> None:
        self.calls.append(("stop", who, category))

    async def stopped(self) -> None:
        await self.confirmed.wait()

    async def set_override(self, who: Who, speed: float) -> None:
        self._note("override", who, speed)

    def jog(self, who: Who, speed_deg_s: float) -> None:
        self._note("jog", who, speed_deg_s)

    def end_jog(self, who: Who) -> None:
        self.calls.append(("end_jog", who))

    def take_helm(self, who: Who, force: bool) -> None:
        self._note("take_helm", who, force)

    def give_helm(self, who: Who) -> None:
        self._note("give_helm", who)

    @property
    def helm_holder(self) -> Who | None:
        return self.holder

    def motion(self, motion_id: str) -> Motion:
        if motion_id not in self._motions:
            raise Unknown(f"There is no motion {motion_id!r}.")
        return self._motions[motion_id]

    def motions(self) -> list[Motion]:
        return list(reversed(self._motions.values()))

    def replace_build(self, sheet: BuildSheet) -> None:
        self._note("replace_build", sheet)
        self.sheet = sheet

    @property
    def built(self) -> BuildSheet:
        return as_built(self.sheet, self.measured)

    def replace_measured(self, measured: Measured) -> None:
        self._note("replace_measured", measured)
        self.measured = measured

    def claim(self, claim: Any, who: Who, *, armed: bool = True) -> None:
        self._note("claim", who)
        raise Busy("the double cannot be measured")

    def subscribe(self, who: Who | None = None) -> Subscription:
        subscription = Subscription(who, self.listeners.remove)
        self.listeners.append(subscription)
        subscription.put({"type": "snapshot", "servo": self.name, "snapshot": {}})
        return subscription

    def tell(self, message: dict[str, Any]) -> None:
        for listener in self.listeners:
            listener.put(message)

    async def run(self) -> None:
        await asyncio.Event().wait()

    def names(self) -> list[str]:
        """What was asked, in order, without the details."""
        return [call[0] for call in self.calls]
