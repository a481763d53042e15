"""One servo: the commands that people, scripts and sequences give it, and what guards them."""

from __future__ import annotations

import math
from dataclasses import replace

from geartender.errors import Busy, Disarmed, Invalid, Refused
from geartender.motion import State
from geartender.servo.body import Held
from geartender.servo.claims import Claim, Interruption
from geartender.servo.courses import TYPICAL_LINES
from geartender.servo.models import MotionKind, MotionState, ServoState
from geartender.servo.motions import Motion, Who
from geartender.servo.planning import check_limit, requested_limits, sheet_limits, turn_duration
from geartender.servo.requests import MoveRequest, TurnRequest, WhenBusy
from geartender.servo.settings import JOG_MS, OVERRIDE_MAX
from geartender.servo.steering import CREEP_COUNTS, START_COUNTS
from geartender.servo.trials import Trials

QUEUED_MAX = 32
"""Moves that may wait behind the one that runs; longer lists are sequences."""


class Servo(Trials):
    """One servo behind one port. `run` owns the link; everything else may be called from the same event loop."""

    # Drive on and off

    async def arm(self, who: Who) -> None:
        """Let the bridge drive. Returns when the firmware has said yes; raises Refused."""
        self._require_sheet()
        live = self._require_live()
        self._require_no_fault()
        self._require_own_settings(who)
        self._take_helm(who)
        if not live.armed or live.led_by_pulse:
            await self._drive.ask("arm", self._drive.deadline())
            self._tell("armed", f"armed by {who.label}", who)
        self._publish()

    async def disarm(self, who: Who) -> None:
        """Take drive away at once; anybody may. Raises Refused."""
        self._require_live()
        self._stops += 1
        self._drop_waiting(f"disarmed by {who.label}")
        self._interrupt(who, Interruption.PERSON, f"disarmed by {who.label}")
        await self._drive.ask("disarm")
        self._tell("disarmed", f"disarmed by {who.label}", who)
        self._publish()

    async def reset(self, who: Who) -> None:
        """Clear the fault; starts nothing. Raises Refused."""
        self._require_live()
        await self._drive.ask("reset")
        if self._fault is not None:
            self._tell("reset", f"{self._fault.cause} reset by {who.label}", who)
        self._fault = None
        self._publish()

    # The port

    def release_port(self, who: Who) -> None:
        """Let go of the port, so that another program can use it, until `reconnect` or for a while. Raises Busy unless disarmed."""
        if self._shown is not None and self._shown.armed:
            raise Busy("The port can be let go only while the servo is disarmed.")
        self._take_helm(who)
        self._drive.link.release()
        self._tell("released", f"{who.label} let another program have the port")
        self._publish()

    def reconnect(self, who: Who) -> None:
        """Take the port again; nothing to do where it was not let go."""
        self._drive.link.reconnect()
        self._tell("reconnect", f"{who.label} wants the port back")
        self._publish()

    # Who leads

    async def give_lead(self, who: Who) -> None:
        """Let the pulse at the input lead: it arms and moves the servo from now on. Raises Refused."""
        self._require_sheet()
        self._require_live()
        self._require_no_fault()
        self._take_helm(who)
        if self._ledger.live or self._queue or self._starting.locked() or self._claim is not None:
            raise Busy("A motion runs or waits. Stop it before the pulse leads.")
        await self._drive.ask("lead", 1, self._drive.deadline())
        self._tell("lead", f"{who.label} let the pulse lead")
        self._publish()

    async def take_lead(self, who: Who) -> None:
        """Take the lead back from the pulse, by a category 2 stop; returns when it rests. Raises Refused."""
        live = self._require_live()
        self._take_helm(who)
        if live.led_by_pulse:
            await self._drive.ask("lead", 0, self._drive.deadline())
            self._tell("lead", f"{who.label} took the lead from the pulse")
            await self._at_rest()
        self._publish()

    # Motion

    async def home(self, who: Who) -> Motion:
        """Find the home mark. Raises Refused."""
        await self._lead(who, homed=False)
        async with self._starting:
            self._require_movable(who, homed=False)
            if self._ledger.live or self.state is not ServoState.READY:
                raise Busy("Another motion runs. Stop it before homing.")
            motion = self._ledger.new(MotionKind.HOME, who, self._wall())
            await self._begins(motion, {}, self._stops)
            return await self._begin(motion, "home", motion.number, self._drive.deadline())

    async def move(self, who: Who, request: MoveRequest, at: float | None = None) -> Motion:
        """Go to an angle. Returns when the firmware has taken it, or it waits in the queue. Raises Refused.

        `at` is the host time to begin at, so that several servos can begin at once; else as soon as it can.
        """
        busy = bool(self._ledger.live)
        waits = request.when_busy is WhenBusy.QUEUE and busy
        await self._lead(who, homed=not waits)
        requested_limits(request, self.built)
        if waits:
            return self._enqueue(who, request)
        if busy and request.when_busy is WhenBusy.REFUSE:
            raise Busy("Another motion runs, and this one was not to take its place.")
        if any(motion.kind is MotionKind.HOME for motion in self._ledger.live):
            raise Busy("It is homing. Wait, queue the move, or stop it first.")
        target = self._target(request)
        self._travel.check(target)
        motion = self._ledger.new(MotionKind.MOVE, who, self._wall(), round(target, 6))
        await self._start_move(motion, request, at)
        self._flush_queue("another motion took its place", MotionState.REPLACED)
        return motion

    async def turn(self, who: Who, request: TurnRequest) -> Motion:
        """Rotate at a held speed. Raises Refused."""
        exact = request.turns is not None
        await self._lead(who, homed=exact or not self._travel.endless)
        limits = sheet_limits(self.sheet)
        check_limit("speed_deg_s", request.speed_deg_s, limits.velocity, "°/s")
        async with self._starting:
            if self._ledger.live or self.state is not ServoState.READY:
                raise Busy("Another motion runs. Stop it first.")
            if request.turns is not None:
                target = self._here() + math.copysign(360.0 * request.turns, request.speed_deg_s)
                self._travel.check(target)
                motion = self._ledger.new(MotionKind.TURN, who, self._wall(), round(target, 6))
                await self._begins(motion, request.model_dump(exclude_none=True), self._stops)
                return await self._steer(motion, replace(limits, velocity=abs(request.speed_deg_s)))
            return await self._turn_held(who, request)

    async def _turn_held(self, who: Who, request: TurnRequest) -> Motion:
        wanted, for_s = request.speed_deg_s, request.for_s
        if self._towards_end(self._turning(wanted), START_COUNTS) == 0.0 and self._override:
            raise self._at_end()
        motion = self._ledger.new(MotionKind.TURN, who, self._wall())
        await self._begins(motion, request.model_dump(exclude_none=True), self._stops)
        speed = self._towards_end(self._turning(wanted), START_COUNTS)
        until = math.inf
        if for_s is not None:
            motion.planned_s = round(turn_duration(speed, for_s, sheet_limits(self.sheet)), 4)
            until = self._now() + for_s
        self._held = held = Held(motion, wanted, speed, until, for_s or math.inf)
        if self._override == 0.0:
            motion.held = True
            self._ledger.start(motion, self._now())
            return motion
        return await self._begin(motion, "turn", *self._turn_fields(held))

    def jog(self, who: Who, speed_deg_s: float) -> None:
        """Move while held: to be repeated well within 300 ms. Raises Refused."""
        if not math.isfinite(speed_deg_s):
            raise Invalid("The speed of a jog must be a number.")
        if speed_deg_s == 0:
            self.end_jog(who)
            return
        if self._require_movable(who, homed=False).led_by_pulse:
            self._drive.send("lead", 0, self._drive.deadline())
            raise Busy("The pulse led, and the lever comes to rest now. Hold on.")
        check_limit("speed_deg_s", speed_deg_s, sheet_limits(self.sheet).velocity, "°/s")
        held = self._held_jog(who)
        until = self._now() + JOG_MS / 1000
        wanted = self._unhomed_speed(speed_deg_s)
        speed = self._towards_end(wanted, CREEP_COUNTS if held else START_COUNTS)
        if speed == 0.0:
            if held is not None:
                self._release(held, "it came to the end of the travel")
            raise self._at_end()
        if held is None:
            self._drive.deadline()
            self._ask_jog(Held(self._ledger.new(MotionKind.JOG, who, self._wall()), wanted, speed, until))
            return
        held.wanted, held.until = wanted, until
        if held is not self._jog_asked:
            held.sent = speed
            self._send_held(held)
            self._publish()

    def _ask_jog(self, asked: Held) -> None:
        """Begin a jog as soon as it is written down."""
        assert self._tasks is not None  # noqa: S101 - there is a link, so the servo runs
        self._jog_asked = asked
        self._tasks.create_task(self._begin_jog(asked), name=f"jog of {self.name}")

    async def _begin_jog(self, asked: Held) -> None:
        motion = asked.motion
        try:
            await self._begins(motion, {"speed_deg_s": asked.wanted}, self._stops)
            if self._jog_asked is not asked:
                return
            self._jog_asked = None
            self._require_movable(motion.who, homed=False)
            self._held_jog(motion.who)
            if self._now() > asked.until:
                raise Busy("It was no longer held.")
            self._ledger.start(motion, self._now())
            self._held = asked
            asked.sent = self._towards_end(asked.wanted, START_COUNTS)
            self._send_held(asked)
        except Refused as refused:
            if self._jog_asked is asked:
                self._jog_asked = None
            self._gave_up(motion, refused)
            return
        self._tell("started", f"jog by {motion.who.label}", motion=motion.id)
        self._publish()

    def _held_jog(self, who: Who) -> Held | None:
        """The jog that goes on or is about to begin, or None when one may begin. Raises Busy."""
        held = self._held or self._jog_asked
        if held is not None and held.motion.kind is MotionKind.JOG and held.motion.who.client == who.client:
            if held.motion.released:
                raise Busy("It is still coming to rest.")
            return held
        if held is not None or self._ledger.live or self._starting.locked():
            raise Busy("Another motion runs. Stop it first.")
        if self.state is not ServoState.READY:
            raise Busy("It is still coming to rest.")
        return None

    def end_jog(self, who: Who) -> None:
        """The control was let go, or its socket is gone: come to rest. Does nothing when they do not jog."""
        if self._jog_asked is not None and self._jog_asked.motion.who.client == who.client:
            self._drop_asked_jog(MotionState.DONE, "let go before it began")
        held = self._held
        if held is not None and held.motion.kind is MotionKind.JOG and held.motion.who.client == who.client:
            self._release(held)

    async def set_override(self, who: Who, speed: float) -> None:
        """Scale the planned speed, 0 to 1.5, also while moving. Raises Refused."""
        if not 0.0 <= speed <= OVERRIDE_MAX:
            raise Invalid(f"The override goes from 0 to {OVERRIDE_MAX}.")
        self._helm.require(who)
        async with self._starting:
            changed, self._override = speed != self._override, speed
            await self._apply_override()
        if changed:
            self._tell("override", f"speed set to {speed:.0%} by {who.label}", who)
        self._publish()

    # Stopping

    def stop(self, who: Who, category: int) -> None:
        """Stop by category 0, 1 or 2: the bytes are with the port when this returns. Raises Invalid for another category."""
        if category not in (0, 1, 2):
            raise Invalid("The stop category is 0, 1 or 2.")
        self._stops += 1
        self._drive.stop(category)
        self._drop_waiting(f"stopped by {who.label}")
        self._interrupt(who, Interruption.PERSON, f"stopped by {who.label}")
        self._tell("stop", f"stop of category {category} by {who.label}", who)
        self._publish()

    async def stopped(self) -> None:
        """Wait until the firmware has confirmed the last stop, or the link is gone."""
        while self._drive.link.open and self._drive.link.exchange.stop_pending is not None:
            await self._changed()

    def _drop_waiting(self, reason: str) -> None:
        """What waits ends here; what runs gets its reason, and ends when the firmware says so."""
        self._flush_queue(reason)
        self._drop_asked_jog(MotionState.STOPPED, reason)
        for motion in list(self._ledger.live):
            motion.reason = motion.reason or reason
            if motion.held:
                self._ledger.finish(motion, MotionState.STOPPED, self._now(), reason)

    # Helm

    @property
    def helm_holder(self) -> Who | None:
        """Who holds the right to start motion."""
        self._let_helm_lapse()
        return self._helm.holder

    def take_helm(self, who: Who, force: bool) -> None:
        """Take the right to start motion; `force` takes it from its holder and stops what moves. Raises HelmHeld."""
        self._let_helm_lapse()
        before = self._helm.take(who, self._now(), self._wall(), asked=True, force=force)
        if before is not None:
            self._interrupt(who, Interruption.PERSON, f"{who.label} took the helm")
            self._tell("helm", f"{who.label} took the helm from {before.label}", who)
            if self._ledger.live or self._queue:
                self.stop(who, 2)
        self._publish()

    def give_helm(self, who: Who) -> None:
        """Give it back; nothing happens when somebody else has it."""
        self._helm.give(who)
        self._publish()

    # Runs

    def claim(self, claim: Claim, asker: Who, *, armed: bool = True) -> None:
        """Hold the servo for a run, helm included; the asker's own helm passes over to it. Raises Refused.

        The bench claims with `armed` false: it arms by itself, step by step.

        From here on whoever stops it, disarms it or takes the helm ends the claim, and so does a fault.
        """
        self.require_claimable(asker, armed=armed)
        self._helm.take(claim.who, self._now(), self._wall(), asked=True, force=True)
        self._claim = claim
        self._publish()

    def require_claimable(self, asker: Who, *, armed: bool = True) -> None:
        """Raise Refused unless a run may begin now; with `armed` false, once it is armed."""
        self._require_sheet()
        live = self._require_live()
        self._require_no_fault()
        if self._claim is not None:
            raise Busy(f"The run {self._claim.id} holds the servo. Stop it, or wait.")
        self._let_helm_lapse()
        self._helm.require(asker)
        if not live.armed:
            if armed:
                raise Disarmed("The servo is disarmed. Arm it first.")
            return
        if self._ledger.live or self._starting.locked() or self.state is not ServoState.READY:
            raise Busy("Another motion runs. Stop it, or wait.")

    def release(self, claim: Claim) -> None:
        """The run is over; its helm is free again. Does nothing when it holds the servo no more.

        Settings that it tried go: the servo's own are sent as soon as it is disarmed, or at the next connection.
        """
        if self._claim is claim:
            self._claim = None
            self._helm.give(claim.who)
            if self._on_trial:
                self._to_configure = True
                self._drive.ready = self._drive.ready and self._live is not None and self._live.armed
                self._work.set()
            self._publish()

    @property
    def moving(self) -> bool:
        """Whether a motion runs, or waits for its turn."""
        return bool(self._ledger.live) or bool(self._queue) or self._starting.locked()

    async def rested(self) -> None:
        """Wait until nothing moves it any more; at once when there is no link."""
        while self._drive.link.open and (self._ledger.live or self.state is ServoState.STOPPING):
            await self._changed()

    def here(self) -> float:
        """The angle at which it is commanded to be, degrees. Raises Offline, NotHomed."""
        return self._here()

    def target_of(self, request: MoveRequest) -> float:
        """The angle at which a move that is asked for now would end, degrees. Raises Refused."""
        return self._target(request)

    def quickest_s(self, request: MoveRequest) -> float:
        """How long the move would take at least from where it rests now, its own duration counted in. Raises Refused."""
        target = self._target(request)
        path = self._way(target, requested_limits(request, self.built), State(self._here()))
        return max(path.duration, request.duration_s or 0.0)

    def ready_at(self) -> float:
        """The host time at which a move that is asked for now can begin."""
        return self._now() + self._drive.lead_s(TYPICAL_LINES)

    # Queue

    def _enqueue(self, who: Who, request: MoveRequest) -> Motion:
        if len(self._queue) >= QUEUED_MAX:
            raise Busy(f"{QUEUED_MAX} moves wait already.")
        last = self._queue[-1][0] if self._queue else self._ledger.running
        target = request.to_deg
        if target is None and last is not None and last.target_deg is not None:
            target = last.target_deg + (request.by_deg or 0.0)
        if target is not None:
            self._travel.check(target)
            target = round(target, 6)
        motion = self._ledger.new(MotionKind.MOVE, who, self._wall(), target)
        self._queue.append((motion, request))
        self._tell("queued", f"move by {who.label}", motion=motion.id)
        return motion

    async def _start_next(self) -> None:
        if not self._queue or self._ledger.live or self._starting.locked() or self.state is not ServoState.READY:
            return
        last = next((one for one in self.motions() if one.final), None)
        motion, request = self._queue.popleft()
        try:
            if last is not None and last.state is not MotionState.DONE:
                raise Busy("The move before it did not end as it should.")
            if motion.target_deg is None:
                target = self._target(request)
                self._travel.check(target)
                motion.target_deg = round(target, 6)
            await self._start_move(motion, request)
        except Refused as refused:
            self._ledger.finish(motion, MotionState.STOPPED, self._now(), refused.detail)
            self._flush_queue(f"the move before it could not start: {refused.detail}")

    def _target(self, request: MoveRequest) -> float:
        if request.to_deg is not None:
            return request.to_deg
        running = self._ledger.running
        base = running.target_deg if running is not None and running.target_deg is not None else self._here()
        return base + (request.by_deg or 0.0)

    # Guards

    async def _lead(self, who: Who, *, homed: bool) -> None:
        """Raise Refused unless motion may start now; takes the lead from the pulse and waits for rest."""
        if self._require_movable(who, homed=homed).led_by_pulse:
            await self.take_lead(who)
            self._require_movable(who, homed=homed)
