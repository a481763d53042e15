"""How the bench moves a servo: held voltages and speeds, within what was announced, with the record of every tick."""

from __future__ import annotations

import asyncio
import contextlib
import math
from collections.abc import AsyncIterator, Callable, Mapping
from dataclasses import dataclass, field

from geartender.bench.models import Announcement, BenchState
from geartender.bench.session import Session, SessionOver
from geartender.bench.trail import Trail
from geartender.errors import Refused
from geartender.servo.models import MotionState, ServoState
from geartender.servo.motions import Motion
from geartender.servo.servo import Servo
from geartender.servo.settings import overload_nm
from geartender.servo.trials import OPEN_LOOP, Recording
from geartender.servo.units import FINE, TICK_S, Scale

LOOK_S = 0.02
"""s between two looks at the telemetry, which comes every 30 ms."""

RISE_S = 0.02
"""s in which a held voltage is reached: a step to any motor, no blow to its teeth."""

SURE = 0.68
"""Share of a torque by the sheet that a machine surely keeps to: a motor may be an eighth stronger for an ampere, its winding a
sixth lower, and a train a tenth better than the sheet says, all at once."""

AUDIT_DEG = 2.0
"""deg that the home mark may be off while the bench works."""

STILL_S = 0.15
"""s without a count after which a disc is at rest."""

REST_MAX_S = 20.0
"""s that a coasting machine is waited for."""

BEYOND = 1.05
"""Times what was announced at which the bench stops by itself: counts and telemetry are not the output itself."""


@dataclass(slots=True)
class Watch:
    """What a step was announced to do at most, held against what is seen."""

    announced: Announcement
    from_count: int
    far_deg: float = 0.0
    stops: list[str] = field(default_factory=list)


class Hands:
    """Moves the servo of a session."""

    def __init__(self, session: Session) -> None:
        self.session = session
        self.servo: Servo = session.servo
        self.who = session.who
        self.watch: Watch | None = None

    @property
    def scale(self) -> Scale:
        """Counts and degrees."""
        return Scale.of(self.servo.built)

    @property
    def overload_nm(self) -> float:
        """Torque at the output that is too much."""
        return overload_nm(self.servo.built)

    @property
    def count(self) -> int:
        """The newest raw count."""
        return self.servo.live.row.count

    # Drive

    async def disarm(self) -> None:
        """Take drive away, and wait until nothing moves."""
        await self.servo.disarm(self.who)
        await self.still()

    async def trial(self, changes: Mapping[str, int] | None) -> None:
        """Disarm, and let the firmware work with other settings; None: with its own again."""
        if self.servo.live.armed:
            await self.disarm()
        await self.servo.try_settings({**self.patient(), **(changes or {})})

    def patient(self) -> dict[str, int]:
        """Settings that let the play be larger than the sheet says: the bench finds that out by itself."""
        return {"audit_counts": max(1, min(round(self.scale.counts(AUDIT_DEG)) + 4, 10_000))}

    async def ready(self) -> None:
        """Arm with the servo's own settings, but patient ones."""
        await self.trial(None)
        await self.arm()

    async def arm(self) -> None:
        """Let the bridge drive."""
        await self.servo.arm(self.who)

    def open_loop(self, torque_nm: float, rise_s: float = RISE_S) -> dict[str, int]:
        """Settings for held voltages, with the torque bounded; the whole supply is reached in `rise_s` at the quickest."""
        settings = self.servo.settings
        per_s = self.scale.counts(self.servo.dynamics_top_deg_s) / rise_s
        accel = max(1, min(round(per_s * TICK_S**2 * FINE), 10**8))
        return {
            **OPEN_LOOP,
            "kj_num": 0,
            "max_speed": 10**9,
            "overload_ma": self.load_ma(torque_nm),
            "overload_ms": 10_000,
            "ramp_accel": accel,
            "ramp_jerk": min(max(accel, accel * accel // 2**28), 10**9),
            "drop_mv": settings["drop_mv"],
        }

    def easy(self, torque_nm: float) -> dict[str, int]:
        """Settings to move under control, pressing with that torque at most and never giving up for it."""
        return {
            "overload_ma": self.load_ma(torque_nm),
            "overload_ease": 1,
            "following_counts": 100_000,
            "stall_ma": 30_000,
            "stall_ms": 10_000,
            "pulse_enabled": 0,
            "rest_mode": 2,
        }

    def load_ma(self, torque_nm: float) -> int:
        """Load current that surely makes no more than a torque, as a setting."""
        return max(1, min(round(SURE * self.scale.load_ma(torque_nm)), 30_000))

    # Watching

    @contextlib.asynccontextmanager
    async def within(self, announced: Announcement) -> AsyncIterator[Watch]:
        """Announce, and hold everything in it to what was announced; whatever happens, the servo ends disarmed."""
        await self.session.announce(announced)
        self.watch = watch = Watch(announced, self.count)
        watcher = asyncio.create_task(self._hold(watch))
        try:
            yield watch
        finally:
            watcher.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await watcher
            self.watch = None
            step = self.session.report.steps[-1]
            step.moved_deg = round(max(step.moved_deg, watch.far_deg), 3)
            step.live = None
            await self._leave()

    async def _leave(self) -> None:
        """Disarmed, with the servo's own settings."""
        with contextlib.suppress(Refused):
            if self.servo.snapshot().state is not ServoState.OFFLINE:
                if self.servo.live.armed:
                    await self.servo.disarm(self.who)
                await self.still()
                await self.servo.try_settings(None)

    async def _hold(self, watch: Watch) -> None:
        """Look at every row; beyond what was announced, drive goes at once."""
        trail, began, step = Trail(), self.session.world.monotonic(), self.session.report.steps[-1]
        while True:
            with contextlib.suppress(Refused):
                turned = (self.count - watch.from_count) * self.scale.deg_per_count
                if trail.look(self.session.world.monotonic() - began, turned):
                    step.live = trail.plot
                far = abs(turned)
                watch.far_deg = max(watch.far_deg, far)
                if far > watch.announced.moves_deg * BEYOND and self.servo.live.armed:
                    self.servo.stop(self.who, 0)
                    self.session.end(
                        SessionOver(BenchState.STOPPED, f"it moved {far:.1f}°, farther than was announced")
                    )
            await asyncio.sleep(LOOK_S)

    async def still(self, for_s: float = STILL_S) -> None:
        """Wait until the disc rests."""
        at, since, waited = self.count, 0.0, 0.0
        while since < for_s and waited < REST_MAX_S:
            await asyncio.sleep(LOOK_S)
            since, waited = since + LOOK_S, waited + LOOK_S
            if self.count != at:
                at, since = self.count, 0.0

    # Moving

    @contextlib.asynccontextmanager
    async def recorded(self, every: int = 1) -> AsyncIterator[Recording]:
        """Record what happens in here."""
        async with self.servo.recording(every) as record:
            yield record

    async def volts(self, volts: float, for_s: float, until: Callable[[], bool] | None = None) -> Motion:
        """Hold a voltage for a time, or until something; then coast. The settings must be those of open_loop."""
        motion = await self.servo.hold_volts(self.who, volts, for_s + 1.0)
        await self._run(motion, for_s, until)
        await self.disarm()
        return motion

    async def speed(self, deg_s: float, for_s: float, until: Callable[[], bool] | None = None) -> Motion:
        """Turn at a speed under control for a time, or until something; then come to rest."""
        motion = await self.servo.hold_speed(self.who, deg_s, for_s)
        await self._run(motion, for_s + 1.0, until)
        if not motion.final:
            self.servo.stop(self.who, 2)
            await motion.ended()
        return motion

    async def _run(self, motion: Motion, for_s: float, until: Callable[[], bool] | None) -> None:
        left = for_s
        while left > 0 and not motion.final and not (until is not None and until()):
            pause = min(LOOK_S, left)
            await asyncio.sleep(pause)
            left -= pause

    def stuck(self, for_s: float = 0.4) -> Callable[[], bool]:
        """Tells when the disc has stood still for a while."""
        state = {"at": self.count, "looks": 0}

        def look() -> bool:
            if self.count != state["at"]:
                state["at"], state["looks"] = self.count, 0
            else:
                state["looks"] += 1
            return state["looks"] * LOOK_S >= for_s

        return look

    async def home(self) -> Motion:
        """Find the home mark. The servo must be armed."""
        motion = await self.servo.home(self.who)
        await motion.ended()
        return motion

    def fine(self, motion: Motion) -> bool:
        """Whether a motion ended as it should."""
        return motion.state is MotionState.DONE

    @property
    def angle_deg(self) -> float:
        """Where the output is, by the count; NaN where that is not known."""
        angle = self.servo.snapshot().angle_deg
        return math.nan if angle is None else angle
