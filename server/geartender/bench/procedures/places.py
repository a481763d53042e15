"""Where a servo may be, and the ordinary way there."""

from __future__ import annotations

import asyncio
import math

from geartender.bench.procedures.work import Work
from geartender.bench.session import FoundWrong
from geartender.servo.requests import MoveRequest
from geartender.servo.settings import backlash_deg

PASS_DEG_S = 2.0
"""deg per s over a mark or to a stop: slow enough that the count at an edge is known to one, and that a stop is met softly."""

TAKE_UP, UNKNOWN_PLAY_DEG = 1.3, 1.2
"""Times the play to turn by so that the teeth surely touch, and the deg that a play may have that nobody has measured."""

TURN_DEG = 180.0
"""deg to each side in which a servo that turns for ever is moved."""


def endless(work: Work) -> bool:
    """Whether it turns for ever."""
    travel = work.session.servo.sheet.travel
    return travel is None or travel.endless


def low(work: Work) -> float:
    """The lower end of the travel."""
    travel = work.session.servo.sheet.travel
    return -TURN_DEG if travel is None or travel.min_deg is None else travel.min_deg


def high(work: Work) -> float:
    """The upper end of the travel."""
    travel = work.session.servo.sheet.travel
    return TURN_DEG if travel is None or travel.max_deg is None else travel.max_deg


def room(work: Work) -> float:
    """Degrees of travel."""
    return high(work) - low(work)


def middle_cosine(work: Work) -> float:
    """Cosine of the angle in the middle of the travel, where friction is told."""
    return math.cos(math.radians((low(work) + high(work)) / 2))


def inward(work: Work, away: float) -> float:
    """An angle that far from home, out of its mark and within the travel."""
    home = work.session.servo.sheet.home
    assert home is not None  # noqa: S101 - a servo without cannot be claimed
    angle = home.angle_deg + (away if home.seek == "down" else -away)
    return min(max(angle, low(work)), high(work))


def take_up_deg(work: Work) -> float:
    """deg of the output to turn by so that the teeth touch."""
    known = work.value("backlash_deg")
    return TAKE_UP * (max(backlash_deg(work.session.servo.built), UNKNOWN_PLAY_DEG) if known is None else known)


def beyond(work: Work, deg: float) -> dict[str, int]:
    """Settings that let the output go so far beyond its travel."""
    return {"travel_margin": min(round(work.scale.counts(deg)), 1_000_000)}


async def homed(work: Work) -> None:
    """Armed with its own settings, and home found, if it was not yet. Raises FoundWrong."""
    await work.hands.ready()
    if not work.session.servo.live.homed and not work.hands.fine(await work.hands.home()):
        raise FoundWrong("home", "It did not find home.", "Run first power: it finds out why.")


async def to(work: Work, deg: float, speed_deg_s: float | None = None) -> None:
    """An ordinary move, waited for. Raises FoundWrong when it does not end as it should."""
    motion = await work.session.servo.move(work.session.who, MoveRequest(to_deg=deg, speed_deg_s=speed_deg_s))
    await motion.ended()
    if not work.hands.fine(motion):
        raise FoundWrong("move", f"A plain move did not end as it should: {motion.reason}.", "Run first power.")
    await asyncio.sleep(0.1)
