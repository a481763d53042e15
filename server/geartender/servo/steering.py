"""How motions are started and kept on their way: planned ones, held ones, and the override."""

from __future__ import annotations

import asyncio
import contextlib
import math
from collections.abc import AsyncIterator, Callable, Mapping
from dataclasses import replace
from typing import Any

from geartender.errors import Busy, Disarmed, Faulted, GaveUp, Invalid, NotHomed, Offline, OutsideTravel, Refused
from geartender.link.lines import Reply
from geartender.motion import Limits, Path, State, stop_path
from geartender.servo.body import Body, Held
from geartender.servo.courses import Course, Planner, send_course
from geartender.servo.drive import TELEMETRY_MS, given_up, refusal
from geartender.servo.live import Live
from geartender.servo.models import MotionKind, MotionState, ServoState
from geartender.servo.motions import Motion, Who
from geartender.servo.planning import (
    Approach,
    overridden,
    plan_move,
    requested_limits,
    sheet_limits,
    speed_towards_end,
    stretched,
)
from geartender.servo.requests import MoveRequest
from geartender.servo.settings import speed_limit

REST_WAIT_S = 30.0
"""s to wait for the lever to come to rest before a move that must begin there; a stopping ramp is far shorter."""

CREEP_COUNTS = 3
"""Counts from the travel's end at which a turn or a jog is over: nearer, it would creep for seconds."""

START_COUNTS = 10
"""Counts from the travel's end within which none begins that way: coming to rest moves the lever by less."""

SLOWER = 0.97
"""Share of the speed last sent below which a slower one is worth a line."""

HANDLING_S = 0.01
"""s between a row of telemetry and the tick that obeys what follows from it, besides the way there and back."""


class Steering(Body):
    """A body that can be moved."""

    _stops = 0
    """Stops said so far: what was begun before one must not start after it."""

    # Planned motion

    async def _start_move(self, motion: Motion, request: MoveRequest, at: float | None = None) -> Motion:
        """Plan a move from where the lever is or will be, and have it taken. Raises Refused."""
        limits, stops = requested_limits(request, self.built), self._stops
        motion.torque_nm = request.torque_nm
        try:
            async with self._starting:
                if self._held is not None or self.state is ServoState.STOPPING:
                    await self._come_to_rest()
                self._unless_stopped(motion, stops)
                await self._begins(motion, request.model_dump(exclude_none=True, mode="json"), stops)
                return await self._steer(motion, limits, request.duration_s, at)
        except Refused as refused:
            self._ledger.finish(motion, MotionState.STOPPED, self._now(), refused.detail)
            raise

    async def _steer(
        self, motion: Motion, limits: Limits, duration: float | None = None, at: float | None = None
    ) -> Motion:
        """Put a motion with a target on its course; with an override of 0 it waits for another. Holds the lock already."""
        planner, stops = self._planner(motion, limits, duration), self._stops
        if self._override == 0.0:
            self._wait_at_rest(motion, planner)
            return motion
        try:
            wanted = Course(motion, motion.number, Path(State(0.0), State(0.0), (), ()), 0, planner)
            course = await send_course(
                self._drive, self._scale, lambda: self._shown, self._in_force(), wanted, planner, at
            )
        except Refused as refused:
            self._gave_up(motion, refused)
            raise
        self._take_course(course)
        if self._stops != stops:
            motion.reason = "a stop came first"
        self._tell("started", f"{motion.kind} by {motion.who.label}", motion=motion.id)
        self._publish()
        return motion

    def _planner(self, motion: Motion, limits: Limits, duration: float | None) -> Planner:
        def way(state: State) -> Path:
            assert motion.target_deg is not None  # noqa: S101 - only motions with a target come here
            approach = self._approach if motion.kind is MotionKind.MOVE else Approach(0, 0.0)
            path = self._way(motion.target_deg, limits, state, approach)
            if duration is None or motion.started is not None:  # a new override on the way undoes a wanted duration
                return path
            return stretched(path, overridden(limits, self._override, self.built), duration)

        return way

    def _way(self, target: float, limits: Limits, start: State, approach: Approach | None = None) -> Path:
        """The quickest path from a state to a target with the override as it stands."""
        approach = approach or self._approach
        scaled = overridden(limits, self._override, self.built)
        return plan_move(start, target, scaled, self._travel, approach, self._slack(approach))

    def _slack(self, approach: Approach) -> float:
        """Degrees to go to the side of the approach before the output surely follows."""
        if not approach.side or self._live is None:
            return 0.0
        return self._play.slack(approach.side, self._live.row.count) * self._scale.deg_per_count

    def _in_force(self) -> Course | None:
        course = self._course
        return course if course is not None and course.motion in self._ledger.live else None

    def _take_course(self, course: Course) -> None:
        motion = course.motion
        motion.number, motion.held = course.number, self._override == 0.0
        motion.due = began = self._drive.host_time(course.start)
        if motion.started is None:
            motion.planned_s = round(course.path.duration, 4)
        else:
            motion.planned_s = round(began - motion.started + course.path.duration, 4)
            began = motion.started
        if motion.final:
            self._drive.stop(2)  # it ended while its course was on the way
            return
        self._course = course
        self._ledger.start(motion, began)

    def _wait_at_rest(self, motion: Motion, planner: Planner) -> None:
        self._wait_here(motion, planner)
        for other in list(self._ledger.live):
            self._ledger.finish(other, MotionState.REPLACED, self._now(), "another motion took its place")
        self._ledger.start(motion, self._now())
        self._publish()

    def _wait_here(self, motion: Motion, planner: Planner) -> None:
        here = State(self._require_live().reference_deg or 0.0)
        motion.held = True
        self._course = Course(motion, motion.number, Path(here, here, (), ()), self._drive.deadline(0.0), planner)

    async def _hold_where_it_is(self, course: Course) -> None:
        """Let a motion that was held up wait where the lever is, which its plan does not know. Raises Busy."""
        motion = course.motion
        # what the firmware ends now is not the motion
        motion.held, motion.number = True, self._ledger.next_number()
        self._drive.stop(2)
        async with self._patience():
            while self._shown is not None and self._shown.row.state in ("moving", "stopping"):
                await self._changed()
        self._wait_here(motion, course.planner)

    async def _apply_override(self) -> None:
        """Bring what runs to the new override. Holds the lock already."""
        if self._held is not None and self._held.motion.kind is MotionKind.TURN:
            await self._override_turn(self._held)
        course = self._in_force()
        if course is None:
            return
        motion, was_held = course.motion, course.motion.held
        if self._override == 0.0:
            if motion.held:
                return
            if self._shown is not None and self._shown.off_course:
                await self._hold_where_it_is(course)
                return
            motion.held, planner = True, self._stopper()
        else:
            planner = course.planner
            if motion.held:
                # The old number may have ended already, and a number that ended must not begin again.
                course = replace(course, number=self._ledger.next_number())
        try:
            course = await send_course(self._drive, self._scale, lambda: self._shown, course, course, planner)
        except Refused:
            motion.held = was_held
            raise
        self._take_course(course)

    async def _override_turn(self, held: Held) -> None:
        """Bring a turn to the new override; at 0 the firmware's motion ends, and another goes on for the rest of its time."""
        motion, now = held.motion, self._now()
        if self._override == 0.0 and not motion.held:
            motion.held, held.left = True, held.until - now
        elif self._override and motion.held:
            motion.number, motion.held = self._ledger.next_number(), False
            motion.due, held.until = now, now + held.left
        elif not self._override:
            return
        held.sent = self._towards_end(self._turning(held.wanted))
        await self._drive.ask("turn", *self._turn_fields(held))

    def _stopper(self) -> Planner:
        limits = sheet_limits(self.sheet)
        return lambda state: stop_path(state, limits)

    # Motion that the firmware runs by itself

    async def _begin(self, motion: Motion, verb: str, *fields: int) -> Motion:
        """Ask for homing or a turn. Raises Refused."""
        self._ledger.start(motion, self._now())
        try:
            await self._drive.ask(verb, *fields)
        except Refused as refused:
            self._gave_up(motion, refused)
            raise
        self._tell("started", f"{motion.kind} by {motion.who.label}", motion=motion.id)
        self._publish()
        return motion

    def _gave_up(self, motion: Motion, refused: Refused) -> None:
        """A motion that was refused; when nobody knows whether it was taken, it must not run."""
        if isinstance(refused, Offline) and self._drive.link.open:
            self._drive.stop(2)
        self._ledger.finish(motion, MotionState.STOPPED, self._now(), refused.detail)
        self._publish()

    def _turn_fields(self, held: Held) -> tuple[int, int, int, int]:
        left_us = 0 if math.isinf(held.until) else max(1, round((held.until - self._now()) * 1e6))
        return held.motion.number, self._drive.deadline(), self._scale.wire_rate(held.sent), left_us

    def _send_held(self, held: Held) -> None:
        """Send the speed of a turn or a jog without waiting; a refusal ends it. Raises Refused when it cannot be sent."""
        fields: tuple[int, ...] = self._turn_fields(held)
        verb = "turn" if held.motion.kind is MotionKind.TURN else "jog"
        future = self._drive.send(verb, *(fields if verb == "turn" else fields[:3]))
        future.add_done_callback(self._held_answer(held))

    def _held_answer(self, held: Held) -> Callable[[asyncio.Future[Reply]], None]:
        def look(future: asyncio.Future[Reply]) -> None:
            if future.cancelled() or held.motion.final:
                return
            error = future.exception()
            if isinstance(error, GaveUp) and error.outcome != "dropped":
                self._gave_up(held.motion, given_up(error))
            elif error is None and not future.result().ok:
                self._gave_up(held.motion, refusal(future.result()))

        return look

    def _release(self, held: Held, reason: str | None = None) -> None:
        """Bring a jog to rest: its control was let go."""
        if not held.motion.released:
            held.motion.released, held.motion.reason = True, reason
            self._drive.stop(2)

    async def _come_to_rest(self) -> None:
        """Stop a turn or a jog by category 2 and wait until the lever rests. Raises Busy."""
        if self._held is not None:
            motion = self._held.motion
            motion.reason = "another motion took its place"
            self._drive.stop(2)
            if motion.held:  # an override of 0 holds it: the firmware has nothing to end
                self._ledger.finish(motion, MotionState.REPLACED, self._now(), motion.reason)
        await self._at_rest()

    async def _at_rest(self) -> None:
        """Wait until the lever rests. Raises Busy."""
        async with self._patience():
            while self._held is not None or self.state is ServoState.STOPPING:
                await self._changed()

    @contextlib.asynccontextmanager
    async def _patience(self) -> AsyncIterator[None]:
        """Wait inside no longer than the lever can take to come to rest. Raises Busy."""
        try:
            async with asyncio.timeout(REST_WAIT_S):
                yield
        except TimeoutError:
            raise Busy("It does not come to rest; nothing was started.") from None

    async def _begins(self, motion: Motion, what: Mapping[str, Any], stops: int) -> None:
        """Have it written down before it is sent; a stop in the meantime, or the `stops` before, ends it. Raises Refused."""
        try:
            await self._record.begins(motion, what)
        except Refused as refused:
            self._ledger.finish(motion, MotionState.STOPPED, self._now(), refused.detail)
            raise
        self._unless_stopped(motion, stops)

    def _unless_stopped(self, motion: Motion, stops: int) -> None:
        if self._stops != stops:
            self._ledger.finish(motion, MotionState.STOPPED, self._now(), "a stop came first")
            raise Busy("A stop came first; nothing was started.")

    # The travel's end

    def _govern(self) -> None:
        """Slow a turn or a jog down so that it stops inside the travel; end a jog that is no longer held."""
        held = self._held
        if held is None or held.motion.released:
            return
        if held.motion.kind is MotionKind.JOG and self._now() > held.until:
            self._release(held, "it was no longer held")
            return
        wanted = self._turning(held.wanted) if held.motion.kind is MotionKind.TURN else held.wanted
        speed = self._towards_end(wanted)
        if speed == 0.0 and held.sent != 0.0 and wanted:
            held.motion.reason = "it came to the end of the travel"
        if abs(speed) < abs(held.sent) * SLOWER:
            held.sent = speed
            try:
                self._send_held(held)
            except Refused as refused:
                self._gave_up(held.motion, refused)

    def _towards_end(self, speed: float, nearest: int = CREEP_COUNTS) -> float:
        """The speed, or the highest from which it still stops inside the travel; 0 within `nearest` counts of its end."""
        live = self._live
        here = live.reference_deg if live else None
        if live is None or here is None or self._travel.endless or speed == 0.0:
            return speed
        distance = self._travel.high - here if speed > 0 else here - self._travel.low
        if distance <= nearest * self._scale.deg_per_count:
            return 0.0
        delay = max(0.0, self._now() - live.at) + TELEMETRY_MS / 1000 + HANDLING_S
        delay += 2 * (self._drive.link.exchange.round_trip or 0.0)
        most = speed_towards_end(distance, sheet_limits(self.sheet), delay)
        return math.copysign(min(abs(speed), most), speed)

    def _turning(self, wanted: float) -> float:
        """The speed of a turn as the override stands, but never above what the motor can follow."""
        return math.copysign(min(abs(wanted) * self._override, speed_limit(self.built)), wanted)

    def _unhomed_speed(self, speed: float) -> float:
        """A jog before homing goes no quicker than homing itself: nothing but the hand knows where the end is."""
        live, home = self._live, self.sheet.home
        if self._travel.endless or home is None or (live is not None and live.homed):
            return speed
        return math.copysign(min(abs(speed), home.speed_deg_s), speed)

    def _require_live(self) -> Live:
        live = self._shown
        if live is None or not self._drive.ready:
            raise Offline(f"There is no link to the servo's controller: {self._reason or 'it is being set up'}.")
        return live

    def _here(self) -> float:
        """Where it is commanded to be. Raises NotHomed."""
        here = self._require_live().reference_deg
        if here is None:
            raise NotHomed("The position is not known. Home it first.")
        return here

    def _at_end(self) -> OutsideTravel:
        return OutsideTravel("It stands at the end of the travel; it can only go the other way.")

    # Guards

    def _require_movable(self, who: Who, *, homed: bool) -> Live:
        """Raise Refused unless motion may start now; takes the helm when it is free."""
        self._require_sheet()
        live = self._require_live()
        self._require_no_fault()
        if not live.armed:
            raise Disarmed("The servo is disarmed. Arm it first.")
        self._require_own_settings(who)
        self._take_helm(who)
        if homed and not live.homed:
            raise NotHomed("The position is not known. Home it first.")
        return live

    @property
    def _on_trial(self) -> bool:
        """Whether the firmware works with other settings than the servo's own."""
        return self._digest is not None and self._drive.holds != self._digest

    def _require_own_settings(self, who: Who) -> None:
        """Raise Busy while the firmware holds what somebody else tries."""
        if self._on_trial and (self._claim is None or self._claim.who.client != who.client):
            raise Busy("The bench has other settings on trial, and puts the servo's own back. Try again in a moment.")

    def _require_no_fault(self) -> None:
        if self._fault is not None:
            raise Faulted(f"A fault stands ({self._fault.cause}). {self._fault.advice} Then reset.")

    def _require_sheet(self) -> None:
        if self._settings is None:
            missing = ", ".join(f"[{name}]" for name in self.sheet.missing_to_move)
            raise Invalid(f"The build sheet lacks {missing}: this servo has figures but cannot move.")

    def _take_helm(self, who: Who) -> None:
        self._let_helm_lapse()
        self._helm.take(who, self._now(), self._wall())
