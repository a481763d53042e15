"""Works out where a motion goes and by which path. Pure: degrees and seconds in, paths and link numbers out."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import accumulate

from geartender.build import BuildSheet
from geartender.errors import Invalid, OutsideTravel, OverLimit, PlanError
from geartender.motion import Limits, Path, Piece, State, plan, stretch
from geartender.servo.requests import LONGEST_MOVE_S, MoveRequest
from geartender.servo.settings import backlash_deg, speed_limit, torque_limit_nm
from geartender.servo.units import Scale

CRUISE_PIECE_S = 60.0
"""s; the firmware takes no longer piece. At held speed the rounding of a minute is nothing."""

CURVED_PIECE_S = 20.0
"""s; longer pieces with jerk would end up to a third of a count off, by the rounding of their jerk."""

REST_PIECE_US = 4000
"""us; the piece of a path that has nowhere to go: the firmware wants one, and settles after it."""

EDGE_DEG = 1e-6
"""deg; rounding that is not outside the travel."""

APPROACH_FACTOR = 1.25
APPROACH_MIN_DEG = 0.5
"""How far to go past the target to come back from the other side: more than the play, which wears."""

Numbers = tuple[int, int, int, int, int]
"""Duration in us, then position, speed, acceleration and jerk in link units."""


@dataclass(frozen=True, slots=True)
class Travel:
    """How far the output may go, degrees; infinite where it is endless."""

    low: float
    high: float

    @classmethod
    def of(cls, sheet: BuildSheet) -> Travel:
        """The travel of a sheet that has one."""
        travel = sheet.travel
        if travel is None or travel.endless or travel.min_deg is None or travel.max_deg is None:
            return cls(-math.inf, math.inf)
        return cls(travel.min_deg, travel.max_deg)

    @property
    def endless(self) -> bool:
        """Whether there is no end."""
        return math.isinf(self.high)

    def check(self, deg: float, what: str = "the target") -> None:
        """Raise OutsideTravel when the angle lies outside."""
        if not self.low - EDGE_DEG <= deg <= self.high + EDGE_DEG:
            raise OutsideTravel(
                f"{what} of {deg:.2f}° lies outside the travel, {self.low:g}° to {self.high:g}°.",
                angle_deg=deg,
                min_deg=self.low,
                max_deg=self.high,
            )


@dataclass(frozen=True, slots=True)
class Approach:
    """From which side targets are approached: 1 from below, -1 from above, 0 as it comes. `play` is in degrees."""

    side: int
    play: float

    @classmethod
    def of(cls, sheet: BuildSheet) -> Approach:
        """As the sheet wants it."""
        side = {"shortest": 0, "from_below": 1, "from_above": -1}[sheet.rest.approach]
        return cls(side, max(APPROACH_MIN_DEG, backlash_deg(sheet) * APPROACH_FACTOR))


def sheet_limits(sheet: BuildSheet) -> Limits:
    """The sheet's own limits. Raises Invalid for a sheet without."""
    if sheet.limits is None:
        raise Invalid("The build sheet has no limits, so this servo cannot move. Add home, travel and limits to it.")
    return Limits(sheet.limits.speed_deg_s, sheet.limits.accel_deg_s2, sheet.limits.jerk_deg_s3)


def requested_limits(request: MoveRequest, sheet: BuildSheet) -> Limits:
    """What the request wants, where it wants something, else the sheet's. Raises OverLimit, Invalid."""
    own = sheet_limits(sheet)
    check_limit("torque_nm", request.torque_nm, torque_limit_nm(sheet), "N·m")
    wanted = (
        ("speed_deg_s", request.speed_deg_s, own.velocity, "°/s"),
        ("accel_deg_s2", request.accel_deg_s2, own.acceleration, "°/s²"),
        ("jerk_deg_s3", request.jerk_deg_s3, own.jerk, "°/s³"),
    )
    for name, value, limit, unit in wanted:
        check_limit(name, value, limit, unit)
    return Limits(*(limit if value is None else value for _, value, limit, _ in wanted))


def check_limit(name: str, value: float | None, limit: float, unit: str) -> None:
    """Raise OverLimit for a value above its limit in the sheet."""
    if value is not None and abs(value) > limit:
        raise OverLimit(f"{name} of {abs(value):g} {unit} is above the sheet's limit of {limit:g} {unit}.", limit=limit)


def overridden(limits: Limits, override: float, sheet: BuildSheet) -> Limits:
    """The limits with the speed scaled, but never above what the motor can follow."""
    return Limits(min(limits.velocity * override, speed_limit(sheet)), limits.acceleration, limits.jerk)


def plan_move(
    start: State, target: float, limits: Limits, travel: Travel, approach: Approach, slack: float = 0.0
) -> Path:
    """The quickest path to rest at the target that arrives from the wanted side and stays in the travel.

    With a side, the last stretch is always the same short one, from rest: so it is slow at its end, does not overshoot, and
    ends alike every time. `slack` is how much of the play would still have to be taken up before the output follows to that
    side. Raises OutsideTravel, Invalid.
    """
    travel.check(target)
    try:
        path = _way(start, target, limits, travel, approach, slack)
    except PlanError as error:
        raise Invalid(f"There is no path with these limits: {error}.") from error
    _check_path(path, start, travel)
    return path


def _way(start: State, target: float, limits: Limits, travel: Travel, approach: Approach, slack: float) -> Path:
    direct = plan(start, target, limits)
    past = min(max(target - approach.side * approach.play, travel.low), travel.high)
    if not approach.side or past == target or _arrives(direct, approach, target, slack):
        return direct
    first = plan(start, past, limits)
    return joined(first, plan(first.end, target, limits))


def stretched(path: Path, limits: Limits, duration: float) -> Path:
    """The same way in exactly that time. Raises OverLimit with the shortest time when that is too short."""
    if duration < path.duration * (1 - 1e-9):
        raise OverLimit(
            f"duration_s of {duration:g} s is too short; with these limits it takes at least {path.duration:.3f} s.",
            shortest_s=path.duration,
        )
    _check_duration(duration)
    share = duration / path.duration if path.duration else 1.0
    ways = _legs(path)
    try:
        legs = [stretch(leg.start, leg.end.position, limits, leg.duration * share) for leg in ways]
    except PlanError as error:
        raise Invalid(f"It cannot take that long: {error}.") from error
    whole = legs[0]
    for leg in legs[1:]:
        whole = joined(whole, leg)
    return whole


def joined(first: Path, second: Path) -> Path:
    """One path after the other."""
    pieces = (*first.pieces, *second.pieces)
    return Path(first.start, second.end, pieces, tuple(accumulate(piece.duration for piece in pieces)))


def link_pieces(path: Path, scale: Scale, origin: int) -> list[Numbers]:
    """The path as the firmware takes it. Pieces begin at whole microseconds, each with its own exact state."""
    numbers: list[Numbers] = []
    began = 0.0
    for piece in path.pieces:
        for offset, duration in _parts(piece):
            start_us = round((began + offset) * 1e6)
            length = round((began + offset + duration) * 1e6) - start_us
            if length > 0:
                state = piece.at(start_us / 1e6 - began)
                numbers.append(_numbers(length, state, piece.jerk, scale, origin))
        began += piece.duration
    return numbers or [_numbers(REST_PIECE_US, State(path.end.position), 0.0, scale, origin)]


def speed_towards_end(distance: float, limits: Limits, delay_s: float) -> float:
    """The highest speed from which one still stops within the distance, degrees per s.

    `delay_s` is the time until a command takes effect. Stopping from v takes v²/2a + v·a/2j; as it may still be speeding
    up, another v·a/j goes by until it slows down.
    """
    if distance <= 0:
        return 0.0
    a, linear = limits.acceleration, 1.5 * limits.acceleration / limits.jerk + delay_s
    return a * (math.sqrt(linear * linear + 2 * distance / a) - linear)


def turn_duration(speed: float, for_s: float, limits: Limits) -> float:
    """How long a timed turn takes from rest to rest, s: its time, and the ramp down."""
    speed = abs(speed)
    quick = limits.acceleration**2 / limits.jerk
    ramp = speed / limits.acceleration + limits.acceleration / limits.jerk
    return for_s + (ramp if speed >= quick else 2 * math.sqrt(speed / limits.jerk))


def _arrives(path: Path, approach: Approach, target: float, slack: float) -> bool:
    """Whether the last stretch comes from that side, is long enough to take up the play, and short enough to be slow."""
    way = approach.side * (target - _last_turn(path))
    return max(slack, 0.0) - EDGE_DEG <= way <= approach.play + EDGE_DEG


def _last_turn(path: Path) -> float:
    """Where the motion last turned round or rested before its end; where it began if it never did."""
    for piece in reversed(path.pieces):
        turning = piece.turning_points()
        if turning:
            return turning[-1]
        if piece.start.velocity == 0.0:
            return piece.start.position
    return path.start.position


def _legs(path: Path) -> list[Path]:
    """The path cut where it rests on its way."""
    legs: list[Path] = []
    pieces: list[Piece] = []
    for piece in path.pieces:
        if pieces and piece.start.velocity == 0.0 and piece.start.acceleration == 0.0:
            legs.append(_path(pieces, State(piece.start.position)))
            pieces = []
        pieces.append(piece)
    return [*legs, _path(pieces, path.end)] if pieces else [path]


def _path(pieces: list[Piece], end: State) -> Path:
    return Path(pieces[0].start, end, tuple(pieces), tuple(accumulate(piece.duration for piece in pieces)))


def _check_path(path: Path, start: State, travel: Travel) -> None:
    """The way may not leave the travel, unless it begins outside, and then no further."""
    _check_duration(path.duration)
    allowed = Travel(min(travel.low, start.position), max(travel.high, start.position))
    for end in path.extremes():
        allowed.check(end, "the way there would go over the end; an angle")


def _check_duration(duration: float) -> None:
    if duration > LONGEST_MOVE_S:
        raise Invalid(
            f"It would take {duration:.0f} s; a single motion may take {LONGEST_MOVE_S:.0f} s at most. Go quicker, or in parts.",
            longest_s=LONGEST_MOVE_S,
        )


def _parts(piece: Piece) -> list[tuple[float, float]]:
    """A piece cut into parts that the firmware takes: (offset, duration)."""
    longest = CURVED_PIECE_S if piece.jerk or piece.start.acceleration else CRUISE_PIECE_S
    count = max(1, math.ceil(piece.duration / longest))
    return [(piece.duration * index / count, piece.duration / count) for index in range(count)]


def _numbers(length: int, state: State, jerk: float, scale: Scale, origin: int) -> Numbers:
    return (
        length,
        scale.wire_position(state.position, origin),
        scale.wire_rate(state.velocity),
        scale.wire_rate(state.acceleration),
        scale.wire_rate(jerk),
    )
