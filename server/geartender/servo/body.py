"""What a servo is, without its commands: the link, the newest telemetry, faults, the motions and the listeners."""

from __future__ import annotations

import asyncio
import logging
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from geartender.build import BuildSheet
from geartender.build.measured import NOTHING, Measured, as_built
from geartender.errors import Busy, Refused
from geartender.firmware.version import VERSION as FIRMWARE_VERSION
from geartender.link.events import Closed, Event, Incompatible, Opened
from geartender.link.lines import FirmwareEvent, Hello, Telemetry
from geartender.link.port import Opener
from geartender.link.session import Link
from geartender.servo.claims import Claim, Interruption
from geartender.servo.courses import Course
from geartender.servo.drive import Drive
from geartender.servo.faults import CONTROLLER_RESET, Evidence, explain
from geartender.servo.helm import Helm
from geartender.servo.ledger import Ledger
from geartender.servo.live import Live, Play, Ring
from geartender.servo.models import FaultReport, MotionKind, MotionState, ServoState, Snapshot, TraceRow
from geartender.servo.motions import Motion, Who
from geartender.servo.planning import Approach, Travel
from geartender.servo.record import NoRecord, Record
from geartender.servo.requests import MoveRequest
from geartender.servo.settings import display_wanted, firmware_settings, overload_nm, settings_digest
from geartender.servo.shown import link_report, snapshot_of
from geartender.servo.subscription import Message, Subscription
from geartender.servo.units import Scale
from geartender.world import World

log = logging.getLogger(__name__)

SET_UP_AGAIN_S = 1.0
"""s until settings that the controller did not take are sent once more."""

FIRST_NUMBER_MAX = 1 << 29
"""Motion numbers begin anywhere below: a service that starts anew must not find its first ones in old telemetry."""


@dataclass(slots=True)
class Held:
    """A turn or a jog under way: the speed wanted, the speed last sent, and the host time at which it is over by itself."""

    motion: Motion
    wanted: float
    sent: float
    until: float
    left: float = 0.0
    """s that were left when an override of 0 held it."""


class Body:
    """One servo behind one port, as it is. `run` owns the link for ever."""

    def __init__(
        self, name: str, sheet: BuildSheet, opener: Opener, world: World, record: Record | None = None
    ) -> None:
        self.name = name
        self.address: str | None = None
        """Where the page is to be opened, for the servo's display; None: not known."""
        self._record = record or NoRecord()
        self._now, self._wall = world.monotonic, world.wall
        self._drive = Drive(name, opener, world, self)
        self._helm = Helm()
        self._ledger = Ledger(name, world.random.randrange(FIRST_NUMBER_MAX), self._motion_ended)
        self._ring = Ring()
        self._subscriptions: set[Subscription] = set()
        self._queue: deque[tuple[Motion, MoveRequest]] = deque()
        self._claim: Claim | None = None
        self._starting = asyncio.Lock()
        self._work = asyncio.Event()
        self._change = asyncio.Event()
        self._live: Live | None = None
        self._course: Course | None = None
        self._held: Held | None = None
        self._jog_asked: Held | None = None
        self._tasks: asyncio.TaskGroup | None = None
        self._fault: FaultReport | None = None
        self._fault_trace: list[TraceRow] = []
        self._hello: Hello | None = None
        self._to_greet = self._to_configure = False
        self._reason: str | None = "not connected yet"
        self._override = 1.0
        self._published: tuple[Any, ...] = ()
        self._watch: Callable[[Telemetry], None] | None = None
        self.measured = NOTHING
        """What the bench found."""
        self._take_sheet(sheet)

    # Looking

    def snapshot(self, who: Who | None = None) -> Snapshot:
        """Everything about the servo now; `who` decides whether the helm is `yours`."""
        self._let_helm_lapse()
        return snapshot_of(
            name=self.name,
            sheet=self.sheet,
            scale=self._scale,
            state=self.state,
            live=self._shown,
            fault=self._fault,
            helm=self._helm.report(who),
            motion=self._ledger.running,
            run=self._claim.id if self._claim else None,
            override=self._override,
            link=link_report(self._drive.link, self._hello, self._reason, ready=self._drive.ready),
            now=self._now(),
        )

    @property
    def state(self) -> ServoState:
        """What it is doing, in one word."""
        live, running = self._shown, self._ledger.running
        if live is None:
            return ServoState.OFFLINE
        if live.row.state == "stopping":
            return ServoState.STOPPING
        if self._fault is not None:
            return ServoState.FAULTED
        waits = running is not None and running.held and live.row.state == "ready"
        if running is not None and (waits or live.row.state == "moving"):
            return ServoState.TURNING if running.kind is MotionKind.TURN else ServoState.MOVING
        return ServoState(live.row.state)

    @property
    def _shown(self) -> Live | None:
        """The newest telemetry, while it may be called live."""
        return self._live if self._drive.link.open else None

    @property
    def link(self) -> Link:
        """The link to its firmware, for whoever watches whether it goes on."""
        return self._drive.link

    def motion(self, motion_id: str) -> Motion:
        """A motion that is still remembered. Raises Unknown."""
        return self._ledger.get(motion_id)

    def motions(self) -> list[Motion]:
        """The motions remembered, newest first."""
        return self._ledger.newest_first()

    def fault_trace(self) -> list[TraceRow]:
        """The seconds before the last fault, with times before it."""
        return list(self._fault_trace)

    # Build sheet

    def replace_build(self, sheet: BuildSheet) -> None:
        """Put another build sheet in force. Raises Busy unless disarmed."""
        if self._shown is not None and self._shown.armed:
            raise Busy("The build sheet can be changed only while the servo is disarmed.")
        self._take_sheet(sheet)
        self._drive.ready = False
        self._to_configure = True
        self._work.set()
        self._publish()

    def replace_measured(self, measured: Measured) -> None:
        """Put what the bench found in force. Raises Busy unless disarmed."""
        before, self.measured = self.measured, measured
        try:
            self.replace_build(self.sheet)
        except Busy:
            self.measured = before
            raise

    def _take_sheet(self, sheet: BuildSheet) -> None:
        self.sheet = sheet
        self.built = as_built(sheet, self.measured)
        """The sheet with what was measured in the places of what was designed."""
        self._scale = Scale.of(self.built)
        self._travel = Travel.of(sheet)
        self._approach = Approach.of(self.built)
        settings = None if sheet.missing_to_move else firmware_settings(self.built, self.measured.tuning)
        self._settings = settings
        self._digest = None if settings is None else settings_digest(settings)
        self._play = Play(self._scale.counts(self._approach.play))

    # Life

    async def run(self) -> None:
        """Own the link for ever: connect, talk, and connect again. Ends by cancellation only."""
        async with asyncio.TaskGroup() as tasks:
            self._tasks = tasks
            tasks.create_task(self._drive.link.run(), name=f"link of {self.name}")
            tasks.create_task(self._keep_up(), name=f"work of {self.name}")

    async def _keep_up(self) -> None:
        """Do what must wait for answers: greeting, settings, and the next move of the queue."""
        while True:
            await self._work.wait()
            self._work.clear()
            try:
                await self._set_up()
                await self._start_next()
            except Refused as refused:
                log.warning("%s: %s", self.name, refused.detail)
                await self._try_again(refused)
            self._publish()

    async def _try_again(self, refused: Refused) -> None:
        """Setting up failed: say why, and do it once more after a while."""
        self._reason = refused.detail
        self._publish()
        await asyncio.sleep(SET_UP_AGAIN_S)
        self._to_greet = True
        self._work.set()

    async def _set_up(self) -> None:
        if not self._drive.link.open or self._hello is None:
            return
        if self._to_greet:
            self._to_greet = self._to_configure = False
            shown = self.address if display_wanted(self.sheet) else None
            await self._drive.greet(self._settings, shown)
        elif self._to_configure and not (self._shown and self._shown.armed):
            self._to_configure = False
            await self._drive.configure(self._settings)
        else:
            return
        self._reason = None

    async def _start_next(self) -> None:
        """Start the next of the moves that wait; the commands know how."""

    # What the link says

    def on_link_event(self, event: Event) -> None:
        """Follow the conversation."""
        match event:
            case Telemetry():
                self._follow(event)
            case Opened():
                self._opened(event.hello)
            case Closed() | Incompatible():
                self._closed(event.reason)
            case FirmwareEvent():
                self._told(event)
            case _:
                pass
        self._publish()

    def _opened(self, hello: Hello) -> None:
        before, self._hello = self._hello, hello
        self._drive.holds = hello.settings
        self._to_greet = True
        self._work.set()
        self._tell("connected", f"connected to {hello.board}, firmware {hello.version}")
        if hello.version != FIRMWARE_VERSION:
            self._tell(
                "firmware",
                f"the controller runs firmware {hello.version}, this service came with {FIRMWARE_VERSION}; install it",
            )
        if before is not None and (before.board, before.boot) != (hello.board, hello.boot):
            self._raise_fault(CONTROLLER_RESET)
        elif hello.cause == "host-silent":
            self._tell("host-silent", "the controller had heard nothing from the service and stopped by itself")

    def _closed(self, reason: str) -> None:
        was_up = self._drive.ready
        self._reason = reason
        self._drive.ready = False
        self._live = self._course = self._held = None
        self._drop_asked_jog(MotionState.LOST, f"the link was lost: {reason}")
        self._play = Play(self._play.width)
        self._ledger.finish_all(MotionState.LOST, self._now(), f"the link was lost: {reason}")
        self._flush_queue("the link was lost")
        if was_up:
            self._interrupt(None, Interruption.LOST, f"the link was lost: {reason}")
            self._tell("disconnected", reason)

    def _told(self, event: FirmwareEvent) -> None:
        if event.name == "audit" and event.fields and event.fields[0].removeprefix("-").isdecimal():
            self._record.passed_home(self.name, int(event.fields[0]))
        if event.name == "audit" and event.fields and event.fields[0] != "0":
            self._tell("audit", f"the home mark was {event.fields[0]} counts from where it should be")
        elif event.name == "lead":
            self._tell("lead", "the pulse leads" if event.fields == ("pulse",) else "this service leads")
        elif event.name == "silent":
            self._tell("host-silent", "the controller heard nothing from the service and stopped by itself")

    def _follow(self, row: Telemetry) -> None:
        live = Live(row, self._scale, self._drive.host_time(row.t))
        before, self._live = self._live, live
        self._ring.add(live)
        if self._watch is not None:
            self._watch(row)
        self._play.follow(row.count, driven=live.armed)
        if row.fault != "none" and (before is None or before.row.fault != row.fault):
            self._raise_fault(row.fault)
        if live.led_by_pulse and self._fault is not None and self._fault.cause == CONTROLLER_RESET:
            self._fault = None  # the controller found no host at its start, and does what the sheet wants of it then
        self._ledger.follow(live, lambda: self._fault.text if self._fault else "a fault stopped it")
        self._govern()
        if self._subscriptions:
            running = self._ledger.running
            message = live.message(self.name, self.state, running.target_deg if running else None)
            for subscription in self._subscriptions:
                subscription.put(message)
        if self._to_configure and not live.armed:
            self._drive.ready = False
            self._work.set()
        if self._queue:
            self._work.set()

    def _govern(self) -> None:
        """Keep a turn or a jog within the travel; the commands know how."""

    # Faults and ends

    def _raise_fault(self, cause: str) -> None:
        seen = self._evidence()
        words = explain(cause, seen)
        self._fault = FaultReport(
            cause=cause,
            text=words.text,
            advice=words.advice,
            at=self._wall(),
            peak_torque_nm=None if seen.peak_torque_nm is None else round(seen.peak_torque_nm, 3),
            angle_deg=None if seen.angle_deg is None else round(seen.angle_deg, 3),
        )
        self._fault_trace = self._ring.trace(self._now())
        for motion in [one for one in self._ledger.live if one.held]:
            self._ledger.finish(motion, MotionState.FAULTED, self._now(), words.text)
        self._flush_queue("a fault stopped the servo")
        self._interrupt(None, Interruption.FAULT, words.text)
        log.warning("%s: fault %s: %s", self.name, cause, words.text)
        self._tell("fault", words.text, fault=self._fault, trace=self._fault_trace, cause=cause)

    def _interrupt(self, who: Who | None, by: Interruption, reason: str) -> None:
        """Tell whoever holds the servo that it is theirs no more; what they did themselves they know."""
        claim = self._claim
        if claim is not None and (who is None or who.client != claim.who.client):
            claim.interrupted(self.name, by, reason)

    def _let_helm_lapse(self) -> None:
        self._helm.lapse(self._now(), moving=bool(self._ledger.live) or self._claim is not None)

    def _evidence(self) -> Evidence:
        live, travel = self._live, self._travel
        return Evidence(
            angle_deg=live.angle_deg if live else None,
            peak_torque_nm=live.peak_torque_nm if live else None,
            overload_nm=overload_nm(self.built),
            overload_ms=self.sheet.overload.for_ms,
            supply_v=live.supply_v if live else None,
            nominal_v=self.sheet.motor.supply_v,
            winding_c=live.row.winding / 10 if live else None,
            following_deg=(self._settings or {}).get("following_counts", 0) * self._scale.deg_per_count,
            travel=None if travel.endless else (travel.low, travel.high),
        )

    def _motion_ended(self, motion: Motion) -> None:
        if self._held is not None and self._held.motion is motion:
            self._held = None
        if self._course is not None and self._course.motion is motion:
            self._course = None
        self._record.ended(motion, self._fault_trace if motion.state is MotionState.FAULTED else ())
        why = f": {motion.reason}" if motion.reason else ""
        self._tell("ended", f"{motion.kind} {motion.state}{why}", motion=motion.id)
        self._work.set()

    def _drop_asked_jog(self, state: MotionState, reason: str) -> None:
        """A jog that has not begun yet will not begin."""
        asked, self._jog_asked = self._jog_asked, None
        if asked is not None:
            self._ledger.finish(asked.motion, state, self._now(), reason)

    def _flush_queue(self, reason: str, state: MotionState = MotionState.STOPPED) -> None:
        while self._queue:
            motion, _ = self._queue.popleft()
            self._ledger.finish(motion, state, self._now(), reason)

    # Listeners

    def subscribe(self, who: Who | None = None) -> Subscription:
        """Listen; the first message is a snapshot. `who` is the listener, for `helm.yours`."""
        subscription = Subscription(who, self._subscriptions.discard)
        self._subscriptions.add(subscription)
        subscription.put(self._snapshot_message(who))
        return subscription

    def _snapshot_message(self, who: Who | None) -> Message:
        return {"type": "snapshot", "servo": self.name, "snapshot": self.snapshot(who).model_dump(mode="json")}

    def _tell(
        self,
        event: str,
        text: str,
        who: Who | None = None,
        fault: FaultReport | None = None,
        trace: Sequence[TraceRow] = (),
        **more: str,
    ) -> None:
        """An event for everybody who listens, for the record and for the log."""
        log.info("%s: %s: %s", self.name, event, text)
        self._record.happened(self.name, event, text, who, fault, trace)
        message = {
            "type": "event",
            "servo": self.name,
            "event": event,
            "text": text,
            "at": self._wall().isoformat(),
            **more,
        }
        for subscription in self._subscriptions:
            subscription.put(message)

    def announce(self, event: str, text: str, **more: Any) -> None:
        """Send an event to those who listen, and to nobody else: it is recorded elsewhere."""
        message = {
            "type": "event",
            "servo": self.name,
            "event": event,
            "text": text,
            "at": self._wall().isoformat(),
            **more,
        }
        for subscription in self._subscriptions:
            subscription.put(message)

    def _publish(self) -> None:
        """Wake who waits for a change, and send a snapshot when more than measured values changed."""
        self._change.set()
        self._change = asyncio.Event()
        self._let_helm_lapse()
        live, running = self._shown, self._ledger.running
        key = (
            self.state,
            live is not None and (live.homed, live.armed, live.row.source, live.row.pulse > 0),
            self._fault,
            self._helm.holder,
            self._claim and self._claim.id,
            running and (running.id, running.target_deg, running.planned_s),
            self._override,
            self._drive.ready,
            self._reason,
            self._drive.link.exchange.phase,
            self.sheet,
        )
        if key != self._published:
            self._published = key
            messages = {who: self._snapshot_message(who) for who in {one.who for one in self._subscriptions}}
            for subscription in self._subscriptions:
                subscription.put(messages[subscription.who])

    async def _changed(self) -> None:
        """Wait for the next event of any kind."""
        await self._change.wait()
