"""Gets a planned motion into the firmware: where it will start, by which path, in time, and again if that was missed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from geartender.errors import LineTooSlow, NotHomed, Offline
from geartender.link.lines import CLOCK_SPAN, wrapped
from geartender.motion import Path, State
from geartender.servo.drive import Drive
from geartender.servo.live import Live
from geartender.servo.motions import Motion
from geartender.servo.planning import link_pieces
from geartender.servo.units import Scale

ATTEMPTS = 4
"""Times a plan is made before the line is called too slow; each leaves twice the time of the one before."""

TYPICAL_LINES = 12
"""Lines of a plan before it is known: a path of nine pieces with its ends."""

Planner = Callable[[State], Path]
"""Gives the path from a state on. May raise Refused."""


@dataclass(frozen=True, slots=True)
class Course:
    """A path in force: whose, from which firmware time on (us, as on the wire), and how to plan it anew."""

    motion: Motion
    number: int
    """The number the firmware knows the motion by from here on."""
    path: Path
    start: int
    planner: Planner
    """To the motion's target, whatever the path in force does."""

    def at(self, t: int) -> State:
        """The commanded state at a firmware time near the course."""
        return self.path.at(self._since(t))

    def over(self, t: int) -> bool:
        """Whether it has come to rest by then."""
        return self._since(t) >= self.path.duration

    def _since(self, t: int) -> float:
        return wrapped(t - self.start) / 1e6


async def send_course(
    drive: Drive,
    scale: Scale,
    live: Callable[[], Live | None],
    before: Course | None,
    wanted: Course,
    planner: Planner,
    at: float | None = None,
) -> Course:
    """Plan from where the lever will be and have the firmware take it; `before` is the course in force, if one is.

    It begins at the host time `at`, or as soon as it can be there.

    Gives the course as accepted. Raises Refused; LineTooSlow when the line was too slow every time.
    """
    lead = drive.lead_s(TYPICAL_LINES)
    attempt = 0
    while True:
        ahead = lead * 2**attempt
        start, state, origin = _beginning(drive, live(), before, ahead if at is None else max(ahead, drive.ahead_s(at)))
        course = replace(wanted, path=planner(state), start=start)
        attempt += 1
        try:
            await drive.ask_all(_requests(course, scale, origin))
        except LineTooSlow:
            if attempt == ATTEMPTS:
                raise
        else:
            return course


def _beginning(drive: Drive, live: Live | None, before: Course | None, lead: float) -> tuple[int, State, int]:
    """When a plan made now can begin, the commanded state at that time, and the home edge."""
    if live is None:
        raise Offline("There is no link to the servo's controller.")
    reference = live.reference_deg
    if reference is None:
        raise NotHomed("The position is not known. Home it first.")
    start = drive.deadline(lead)
    if before is None or (before.over(start) and live.row.state == "ready"):
        return start, State(reference), live.row.origin
    if wrapped(start - before.start) < 0:
        start = before.start
    return start % CLOCK_SPAN, before.at(start), live.row.origin


def _requests(course: Course, scale: Scale, origin: int) -> list[tuple[str, tuple[int, ...]]]:
    pieces = link_pieces(course.path, scale, origin)
    number, start = course.number, course.start
    bound_nm = course.motion.torque_nm
    bound_ma = max(1, int(scale.load_ma(bound_nm))) if bound_nm else 0
    return [
        ("plan", (number, start, start, len(pieces))),
        *(("piece", (index, *numbers)) for index, numbers in enumerate(pieces)),
        *((("bound", (bound_ma,)),) if bound_ma else ()),
        ("go", (number, start)),
    ]
