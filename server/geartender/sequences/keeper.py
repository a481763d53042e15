"""Keeps the timetable: starts what is due, says what it did not start, and never starts a slot twice.

Looks again at least every 30 s, because a clock may be set at any time. Nothing is due before the clock is known to be right. A
slot is in the journal, and known to be dealt with, before its run begins; one that was cut off in between is `unknown` there.
"""

from __future__ import annotations

import asyncio
import logging
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

from geartender.errors import Busy, HelmHeld, NotStored, Refused
from geartender.sequences.lived import Found, Lived, Timed
from geartender.sequences.reading import read_stored
from geartender.sequences.runs import Runs
from geartender.sequences.slots import Sun, first
from geartender.sequences.timetable import TIMETABLE, Entry, Site, WithinMin, slots_of, zone_of
from geartender.servo.motions import Who
from geartender.store import Document, Store
from geartender.store.journal import Intent
from geartender.world import World

log = logging.getLogger(__name__)

LOOK_EVERY_S = 30.0
"""s between two looks at most: half of what a slot may be late and still be in time."""

READ_EVERY_S = 600.0
"""s until the entries are read again though nobody has said that they were changed, as after a backup was put in force."""

AGAIN_S = 2.0
"""s until something that waits for its servo is tried again."""

KEPT_EVERY = timedelta(minutes=10)
"""How often it is written down, when nothing happens, how far time was followed."""

WAITS_AT_MOST = timedelta(days=1)
"""How long something waits for a busy servo when no later slot comes."""

CLOCK = "clock"
UNREADABLE = "unreadable"
"""Kinds of notices, besides `missed`."""


@dataclass(slots=True)
class Waiting:
    """A slot that is due and could not begin yet."""

    entry: Entry
    slot: datetime
    intent: Intent
    until: datetime
    why: str = ""


class Timekeeper:
    """The loop over the timetable."""

    def __init__(self, store: Store, runs: Runs, world: World, site: Site, clock_right: Callable[[], bool]) -> None:
        self._store = store
        self._runs = runs
        self._world = world
        self._site = site
        self._clock_right = clock_right
        self._lived = Lived()
        self._kept: datetime | None = None
        self._waiting: dict[str, Waiting] = {}
        self._right = False
        self._entries: dict[str, tuple[Document, Entry]] = {}
        self._read_at: float | None = None
        self._changed = asyncio.Event()
        self._sunless: dict[str, str] = {}

    @property
    def clock_is_right(self) -> bool:
        """Whether the clock was known to be right at any time since the start."""
        return self._right

    def changed(self) -> None:
        """The timetable was changed: look now."""
        self._read_at = None
        self._changed.set()

    async def run(self) -> None:
        """Keep it for ever. Ends by cancellation only."""
        self._lived = Lived.from_state(await self._state())
        while True:
            pause = LOOK_EVERY_S
            try:
                pause = await self._look()
            except NotStored as refused:
                log.warning("timetable: %s", refused.detail)
            await self._pause(pause)

    async def _state(self) -> dict[str, object] | None:
        while True:
            try:
                return await self._store.state(TIMETABLE, "lived")
            except NotStored:
                await asyncio.sleep(LOOK_EVERY_S)

    async def _pause(self, seconds: float) -> None:
        try:
            async with asyncio.timeout(seconds):
                await self._changed.wait()
        except TimeoutError:
            pass
        self._changed.clear()

    # One look

    async def _look(self) -> float:
        """Do what is due; how long to wait until the next look, s."""
        if not self._know_the_time():
            return AGAIN_S
        self._store.require_keeping()
        await self._read_again()
        entries = {name: entry for name, (_, entry) in self._entries.items()}
        enabled = {
            name: self._timed(document, entry) for name, (document, entry) in self._entries.items() if entry.enabled
        }
        wall = self._world.wall()
        found, set_by = self._lived.look(wall, self._world.monotonic(), enabled)
        if set_by:
            way = "forward" if set_by > timedelta(0) else "back"
            self._store.journal.tell(
                CLOCK, f"the clock was set {way} by {abs(set_by)}", what={"set_by_s": set_by.total_seconds()}
            )
        for one in found:
            await self._deal(one, entries[one.name], enabled[one.name], wall)
        if self._kept is None or found or set_by or abs(wall - self._kept) > KEPT_EVERY:
            await self._keep(wall)
        await self._try_waiting(entries, wall)
        self._note_sunless(enabled, wall)
        return self._next_look(enabled, wall)

    async def _read_again(self) -> None:
        """Read the entries when they were changed, and now and then; those that cannot be read need a person."""
        now = self._world.monotonic()
        if self._read_at is not None and now - self._read_at < READ_EVERY_S:
            return
        self._read_at, self._entries = now, {}
        for document in await self._store.documents(TIMETABLE):
            name, entry = document.name, read_stored(Entry, document.body)
            if entry is not None:
                self._entries[name] = document, entry
                self._store.notices.clear(UNREADABLE, name)
            else:
                text = f"The timetable's {name} was stored by another version and cannot be read, so it does not run."
                self._store.notices.set(UNREADABLE, name, text, "Write it anew, or delete it.")

    def _know_the_time(self) -> bool:
        if not self._right and self._clock_right():
            self._right = True
            self._store.notices.clear(CLOCK, "wrong")
        elif not self._right:
            self._store.notices.set(
                CLOCK,
                "wrong",
                "The clock of this machine is not known to be right, so the timetable waits.",
                'Give it a network for setting its clock. If it has a clock that keeps its time, say clock = "trusted" in [site].',
            )
        return self._right

    def _timed(self, document: Document, entry: Entry) -> Timed:
        late = timedelta(minutes=entry.missed.within_min) if isinstance(entry.missed, WithinMin) else None
        return Timed(document.revision, slots_of(entry, self._site), late)

    async def _deal(self, found: Found, entry: Entry, timed: Timed, wall: datetime) -> None:
        if found.missed and found.missed_first and found.missed_last:
            number = f"{found.missed} times" if found.missed > 1 else "once"
            span = self._shown(entry, found.missed_first)
            if found.missed > 1:
                span += f" to {self._shown(entry, found.missed_last)}"
            self._missed(found.name, entry, f"missed {number}, {span}: the service was off, or its clock was wrong")
        if found.again:
            self._tell(
                found.name,
                entry,
                f"{found.again} slots come again because the clock was set back; they do not run again",
                "skipped",
            )
        if found.due is not None:
            await self._begin(found.name, entry, timed, found.due, wall)

    async def _begin(self, name: str, entry: Entry, timed: Timed, slot: datetime, wall: datetime) -> None:
        before = self._waiting.pop(name, None)
        if before is not None:
            self._give_up(name, before, f"the next slot came first; {before.why}")
        intent = await self._store.journal.intend(
            "slot",
            f"{name}: {entry.sequence} at {self._shown(entry, slot)}",
            who=f"the timetable's {name}",
            via="timetable",
            servo=entry.servo,
            what={"entry": name, "sequence": entry.sequence, "slot": slot.isoformat()},
        )
        await self._keep(wall)
        late = timed.late_by or timedelta(0)
        waiting = Waiting(entry, slot, intent, slot + late)
        if not await self._attempt(name, waiting, wall):
            self._waiting[name] = waiting

    async def _attempt(self, name: str, waiting: Waiting, wall: datetime) -> bool:
        """Try to start it; whether it is dealt with, be it started or given up."""
        who = Who("timetable", f"the timetable's {name}", via="timetable")
        try:
            run = await self._runs.start(waiting.entry.sequence, who, waiting.entry.servo)
        except (Busy, HelmHeld) as busy:
            tried, waiting.why = bool(waiting.why), busy.detail
            if tried and wall < waiting.until:
                return False
            if waiting.entry.busy == "wait":
                if wall <= waiting.slot + WAITS_AT_MOST:
                    return False
                self._give_up(name, waiting, f"it waited for a day; {busy.detail}")
            else:
                self._store.journal.settle(waiting.intent, "skipped", reason=busy.detail)
            return True
        except Refused as refused:
            waiting.why = refused.detail
            if wall < waiting.until:
                return False
            self._give_up(name, waiting, refused.detail)
            return True
        self._store.journal.settle(waiting.intent, "done", reason=None, figures={"run": run.id})
        self._store.notices.clear("missed", name)
        return True

    async def _try_waiting(self, entries: Mapping[str, Entry], wall: datetime) -> None:
        for name, waiting in list(self._waiting.items()):
            if name not in entries or entries[name] != waiting.entry:
                del self._waiting[name]
                self._store.journal.settle(waiting.intent, "skipped", reason="the entry was changed while it waited")
            elif await self._attempt(name, waiting, wall):
                del self._waiting[name]

    def _next_look(self, enabled: Mapping[str, Timed], wall: datetime) -> float:
        soon = LOOK_EVERY_S if not self._waiting else AGAIN_S
        for timed in enabled.values():
            slot = next(iter(timed.slots.between(wall, wall + timedelta(seconds=LOOK_EVERY_S))), None)
            if slot is not None:
                soon = min(soon, (slot - wall).total_seconds())
        return max(soon, 1e-3)

    async def _keep(self, wall: datetime) -> None:
        await self._store.set_state(TIMETABLE, "lived", self._lived.as_state())
        self._kept = wall

    # Saying what was not done

    def _give_up(self, name: str, waiting: Waiting, reason: str) -> None:
        self._store.journal.settle(waiting.intent, "missed", reason=reason)
        self._notice(
            name, f"{name} did not run at {self._shown(waiting.entry, waiting.slot)}: {reason}", waiting.entry.servo
        )

    def _missed(self, name: str, entry: Entry, text: str) -> None:
        self._tell(name, entry, text, "missed")
        self._notice(name, f"{name}: {text}", entry.servo)

    def _notice(self, name: str, text: str, servo: str | None) -> None:
        self._store.notices.set(
            "missed",
            name,
            text,
            "See in the journal what came in between; the next slot runs as usual.",
            servo=servo,
            lasting=True,
        )

    def _tell(self, name: str, entry: Entry, text: str, result: str) -> None:
        self._store.journal.tell(
            "slot", f"{name}: {text}", result=result, who=f"the timetable's {name}", via="timetable", servo=entry.servo
        )

    def _note_sunless(self, enabled: Mapping[str, Timed], wall: datetime) -> None:
        """Say once a day that the sun does not rise, or set, today."""
        for name, timed in enabled.items():
            if not isinstance(timed.slots, Sun):
                continue
            day = timed.slots.day(wall)
            if self._sunless.get(name) != str(day):
                self._sunless[name] = str(day)
                if timed.slots.on(day) is None:
                    what = "rise" if timed.slots.what == "rise" else "set"
                    self._store.journal.tell(
                        "slot",
                        f"{name}: not today, {day}: the sun does not {what}",
                        result="skipped",
                        who=f"the timetable's {name}",
                        via="timetable",
                    )

    def _shown(self, entry: Entry, slot: datetime) -> str:
        return slot.astimezone(zone_of(entry, self._site)).isoformat(timespec="minutes")

    # Looking

    def upcoming(self, entry: Entry, number: int) -> list[datetime]:
        """The next slots of an entry that is stored or is not, in UTC."""
        return first(slots_of(entry, self._site), self._world.wall(), number)

    def waits(self, name: str) -> str | None:
        """Why the last slot of an entry has not begun yet; None when none waits."""
        waiting = self._waiting.get(name)
        return waiting.why if waiting else None
