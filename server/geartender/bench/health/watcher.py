"""Watches the health of all servos by what they do anyway: it gathers, keeps, tells the journal, and says when wear shows."""

from __future__ import annotations

import asyncio
import logging
from collections.abc import Callable, Mapping
from datetime import datetime

from sqlalchemy.orm import Session

from geartender.bench.estimators.health import Place
from geartender.bench.health.diary import Diary, Nature, Point
from geartender.bench.health.verdicts import COUNTS, LOST_COUNTS, MEASURES, HealthReport, assess, health_of, lost_counts
from geartender.build.drive import Drive
from geartender.errors import NotStored
from geartender.servo.models import MotionKind, MotionState
from geartender.servo.motions import Motion
from geartender.servo.planning import Travel
from geartender.servo.servo import Servo
from geartender.servo.units import Scale
from geartender.store import Store
from geartender.store.documents import set_state
from geartender.store.notices import Change, Notice

log = logging.getLogger(__name__)

POINTS, DAY = "health", "health-day"
"""Kinds of states: the points of a servo, and the day that is being gathered."""

NOTICE = "wear"

LOOK_S = 3600.0
"""s after which a day that is over is closed although nothing moves."""

RENEWED_BY = 0.05
"""Share by which a change has to grow before its notice is renewed."""

TOLD_EVERY = 7
"""Points between two entries of the journal: a week of days."""

BENCH = "bench "
"""How the names of those begin in whose name the bench moves a servo."""


class Health:
    """Keeps a diary for each servo. `run` must be under way."""

    def __init__(self, store: Store, servos: Mapping[str, Servo], wall: Callable[[], datetime]) -> None:
        self._store = store
        self._servos = servos
        self._wall = wall
        self._diaries: dict[str, Diary] = {}
        self._changed: set[str] = set()
        self._points_changed: set[str] = set()
        self._wake = asyncio.Event()
        self._clearing = False
        store.notices.listen(self._told)

    async def begin(self) -> None:
        """Read what was kept. The store must be open."""
        try:
            kept, days = await self._store.states(POINTS), await self._store.states(DAY)
        except NotStored as refused:
            log.warning("%s", refused)
            return
        for name in {*kept, *days} & set(self._servos):
            try:
                self._diaries[name] = Diary.from_state(kept.get(name, {}), days.get(name))
            except (KeyError, TypeError, ValueError):
                log.warning("the health of %s cannot be read by this version; it begins anew", name)

    async def run(self) -> None:
        """Keep what was gathered, and look at each day that is over, for ever. Ends by cancellation only."""
        while True:
            try:
                async with asyncio.timeout(LOOK_S):
                    await self._wake.wait()
            except TimeoutError:
                self._changed |= set(self._diaries)
            self._wake.clear()
            await self.keep()

    async def keep(self) -> None:
        """Look, and write down what changed."""
        changed, self._changed = self._changed, set()
        for name in changed:
            try:
                await self._keep(name)
            except NotStored as refused:
                log.warning("%s: %s", name, refused)
                self._changed.add(name)

    # What happens

    def ended(self, motion: Motion) -> None:
        """A motion has ended; what the bench moved by itself says nothing."""
        servo = self._servos.get(motion.servo)
        if servo is None or servo.sheet.limits is None or motion.started is None:
            return
        diary = self._diaries.setdefault(motion.servo, Diary())
        normal = motion.kind is not MotionKind.HOME and not motion.who.client.startswith(BENCH)
        if not normal or motion.state is not MotionState.DONE:
            diary.lost_sight()
            return
        self._close_if_due(motion.servo, diary)
        diary.add(motion.trace, nature_of(servo), self._wall())
        self._mark(motion.servo)

    def passed_home(self, name: str, off_counts: int) -> None:
        """The home mark was passed, and the count was so far off."""
        servo = self._servos.get(name)
        if servo is None or servo.sheet.limits is None:
            return
        diary = self._diaries.setdefault(name, Diary())
        self._close_if_due(name, diary)
        diary.passed_home(off_counts, nature_of(servo), self._wall())
        self._mark(name)

    def _mark(self, name: str) -> None:
        self._changed.add(name)
        self._wake.set()

    # Looking

    def report(self, name: str) -> HealthReport:
        """How a servo is."""
        diary = self._diaries.get(name, Diary())
        return health_of(name, self.points(name), diary.begins)

    def points(self, name: str) -> list[Point]:
        """The points that can be compared, oldest first."""
        diary, servo = self._diaries.get(name), self._servos[name]
        return [] if diary is None or servo.sheet.limits is None else diary.comparable(nature_of(servo))

    # Days

    def _close_if_due(self, name: str, diary: Diary) -> None:
        nature = nature_of(self._servos[name])
        if not diary.due(nature, self._wall()):
            return
        self._points_changed.add(name)
        if diary.close_day(nature) is not None:
            self._say(name, diary, nature)
            self._tell(name, diary, nature)

    async def _keep(self, name: str) -> None:
        diary = self._diaries[name]
        self._close_if_due(name, diary)
        day = diary.day.as_state() if diary.day is not None else None
        whole = diary.as_state() if name in self._points_changed else None

        def job(session: Session) -> None:
            """Both at once, so that no day is lost between them, or counted twice."""
            set_state(session, DAY, name, day)
            if whole is not None:
                set_state(session, POINTS, name, whole)

        self._points_changed.discard(name)
        try:
            await self._store.write(job)
        except NotStored:
            self._points_changed |= {name} if whole is not None else set()
            raise

    def _say(self, name: str, diary: Diary, nature: Nature) -> None:
        """Let notices stand for what shows, and go for what is over."""
        points = diary.comparable(nature)
        for measure in MEASURES:
            found = assess(measure, points, diary.begins)
            change = found.change
            if not measure.advice or change is None:
                continue
            said = diary.said.get(measure.name)
            if found.shows and (said is None or change >= said + RENEWED_BY):
                diary.said[measure.name] = change
                text = measure.sentence(name, found, points[-1].at)
                self._store.journal.tell("health", text, servo=name, what={"advice": measure.advice})
                self._set(name, measure.name, text, measure.advice)
            elif said is not None and change < measure.least / 2:
                del diary.said[measure.name]
                self._clear(name, measure.name)
        lost = lost_counts(points, diary.begins)
        if lost is not None:
            text = f"The count of {name} is off by {abs(lost):.0f} or more at the home mark, day after day."
            self._set(name, COUNTS, text, LOST_COUNTS)
        elif points[-1].off is not None:
            self._clear(name, COUNTS)

    def _tell(self, name: str, diary: Diary, nature: Nature) -> None:
        """Write the trend into the journal once a week."""
        points = diary.comparable(nature)
        if len(points) % TOLD_EVERY:
            return
        found = health_of(name, points, diary.begins)
        known = [one for one in found.trends if one.now is not None and one.change is not None]
        words = [f"{one.title.lower()} {one.now:.3g} {one.unit} ({one.change:+.0%})" for one in known]
        if found.off_counts is not None:
            words.append(f"the count off by {found.off_counts:g} at the home mark")
        if words:
            what = {"trends": {one.name: {"now": one.now, "change": one.change} for one in known}}
            self._store.journal.tell("health", ", ".join(words), servo=name, what=what)

    # Notices

    def _set(self, name: str, measure: str, text: str, advice: str) -> None:
        self._store.notices.set(NOTICE, f"{name}-{measure}", text, advice, servo=name, lasting=True)

    def _clear(self, name: str, measure: str) -> None:
        self._clearing = True
        self._store.notices.clear(NOTICE, f"{name}-{measure}")
        self._clearing = False

    def _told(self, change: Change, notice: Notice) -> None:
        """A person has put one aside: what it said is known, and the comparison begins anew."""
        if notice.kind == NOTICE and change == "cleared" and not self._clearing and notice.servo in self._diaries:
            self._diaries[notice.servo].begin_anew(notice.name.rpartition("-")[2], self._wall())
            self._points_changed.add(notice.servo)
            self._mark(notice.servo)


def nature_of(servo: Servo) -> Nature:
    """What the moves of a servo are read by. Its sheet must have limits."""
    sheet, scale = servo.built, Scale.of(servo.built)
    travel = Travel.of(sheet)
    low, high = (0.0, 360.0) if travel.endless else (travel.low, travel.high)
    top = sheet.limits.speed_deg_s if sheet.limits is not None else 1.0
    return Nature.of(Drive.of(sheet), Place(low, high, top, travel.endless), scale.deg_per_count)
