"""Works out what a sequence will do, with the planner that will drive it: paths, times and costs, without a servo. Pure.

A check is taken to hold. Homing takes as long as it usually does. A long sequence takes a while to work out: the walk lets
others have their turn.
"""

from __future__ import annotations

import asyncio
from collections.abc import Mapping
from dataclasses import dataclass, replace

from geartender.build import BuildSheet
from geartender.errors import Invalid, Refused
from geartender.motion import Limits, Path, Piece, State, plan_velocity, stop_path
from geartender.motion.path import path_of
from geartender.sequences.effort import Cost, Effort
from geartender.sequences.interpreter import Act, Interpreter, Library, Place
from geartender.sequences.model import CheckStep, HomeStep, MoveStep, Sequence, TogetherStep, TurnStep, WaitStep
from geartender.servo.planning import (
    Approach,
    Travel,
    check_limit,
    plan_move,
    requested_limits,
    sheet_limits,
    stretched,
)
from geartender.servo.settings import HOME_BACK_DEG, HOME_SLOW_DEG_S, torque_limit_nm

SETTLE_S = 0.4
"""s that a step lasts beyond its path: to get the plan to the controller, and to come to rest within a count. Steps are kept to
it, so that the whole takes as long as was said."""

ACTS_MAX = 100_000
"""Steps done in one run, repeats counted in; more belongs into the timetable."""

TURN_EVERY = 20
"""Acts worked out before others have their turn: some milliseconds on a small board, far less than a heartbeat."""

PLANS_MAX = 2000
"""Paths remembered: a repeat does the same ones over and over."""


@dataclass(frozen=True, slots=True)
class Leg:
    """One act on the timeline of one servo."""

    place: Place
    do: str
    servo: str | None
    begin_s: float
    planned_s: float
    start_deg: float | None
    path: Path | None
    """What is commanded; None for homing and waiting."""
    cost: Cost


class Known:
    """What a forecast knows of one servo: its sheet, and where it will be."""

    def __init__(self, sheet: BuildSheet, at_deg: float | None) -> None:
        self.sheet = sheet
        self.at_deg = at_deg
        self.effort = Effort.of(sheet)
        self.limits = sheet_limits(sheet)
        self.travel = Travel.of(sheet)
        self.approach = Approach.of(sheet)
        self._plans: dict[tuple[object, ...], tuple[Path, Cost]] = {}

    def move(self, start: float, step: MoveStep, duration: float | None) -> tuple[Path, Cost]:
        """The path of a move from rest, and what it costs. Raises Refused."""
        limits = requested_limits(step, self.sheet)
        target = step.to_deg if step.to_deg is not None else start + (step.by_deg or 0.0)
        key = (start, target, limits, duration)
        if key not in self._plans:
            path = plan_move(State(start), target, limits, self.travel, self.approach)
            if duration is not None:
                path = stretched(path, limits, duration)
            self._remember(key, path)
        return self._plans[key]

    def turn(self, start: float, step: TurnStep) -> tuple[Path, Cost]:
        """The path of a turn from rest. Raises Refused."""
        check_limit("speed_deg_s", step.speed_deg_s, self.limits.velocity, "°/s")
        key = (start, step.speed_deg_s, step.for_s, step.turns)
        if key not in self._plans:
            limits = replace(self.limits, velocity=abs(step.speed_deg_s))
            if step.turns is not None:
                target = start + (360.0 if step.speed_deg_s > 0 else -360.0) * step.turns
                path = plan_move(State(start), target, limits, self.travel, Approach(0, 0.0))
            else:
                path = held_path(start, step.speed_deg_s, step.for_s or 0.0, limits)
                self._stays_inside(path)
            self._remember(key, path)
        return self._plans[key]

    def home_s(self) -> float:
        """How long homing usually takes: there at its speed, back off, and slowly up to the edge. Raises Refused."""
        home = self.sheet.home
        if home is None:
            raise Invalid("The build sheet has no [home], so this servo cannot be homed.")
        way = abs((self.at_deg if self.at_deg is not None else self._middle()) - home.angle_deg)
        return way / min(home.speed_deg_s, self.limits.velocity) + HOME_BACK_DEG / HOME_SLOW_DEG_S

    def _middle(self) -> float:
        low, high = self.travel.low, self.travel.high
        return 0.0 if self.travel.endless else (low + high) / 2

    def _stays_inside(self, path: Path) -> None:
        for end in path.extremes():
            self.travel.check(end, "the turn would go over the end; an angle")

    def _remember(self, key: tuple[object, ...], path: Path) -> None:
        if len(self._plans) >= PLANS_MAX:
            self._plans.clear()
        self._plans[key] = path, self.effort.along(path)


def held_path(start: float, speed: float, for_s: float, limits: Limits) -> Path:
    """A held speed from rest, its ramp counted into the time, and then the ramp down."""
    up = plan_velocity(State(start), speed, limits)
    if up.duration >= for_s:
        part = [piece for piece, end in zip(up.pieces, up.ends, strict=True) if end <= for_s]
        reached, left = up.at(for_s), for_s - (up.ends[len(part) - 1] if part else 0.0)
        if left > 0.0 and len(part) < len(up.pieces):
            cut = up.pieces[len(part)]
            part.append(Piece(left, cut.start, cut.jerk))
    else:
        part = [*up.pieces, Piece(for_s - up.duration, up.end, 0.0)]
        reached = part[-1].at(for_s - up.duration)
    down = stop_path(reached, limits)
    return path_of(State(start), down.end, [*part, *down.pieces])


class Forecaster:
    """Goes through a sequence as an actor and writes down its legs."""

    def __init__(self, sheets: Mapping[str, BuildSheet], starts: Mapping[str, float | None]) -> None:
        self._sheets = sheets
        self._starts = starts
        self.known: dict[str, Known] = {}
        self.legs: list[Leg] = []
        self.now_s = 0.0
        self.needs_home: dict[str, bool] = {}
        """For each servo in the order of their first act: whether its position must be known by then."""
        self._acts = 0

    async def act(self, act: Act) -> None:
        """Put a step onto the timeline. Raises Misplaced."""
        await self._take_turns(act.place)
        try:
            self._add(act)
        except Refused as refused:
            raise Misplaced(act.place, refused) from refused

    async def check(self, act: Act, step: CheckStep) -> str | None:
        """Taken to hold; what it could never hold by is refused."""
        await self._take_turns(act.place)
        try:
            known = self._servo(act)
            check_limit("torque_below_nm", step.torque_below_nm, torque_limit_nm(known.sheet), "N·m")
        except Refused as refused:
            raise Misplaced(act.place, refused) from refused
        self.legs.append(
            Leg(act.place, "check", act.servo, self.now_s, 0.0, known.at_deg, None, known.effort.resting(0.0))
        )
        return None

    async def _take_turns(self, place: Place) -> None:
        self._acts += 1
        if self._acts > ACTS_MAX:
            raise Misplaced(
                place, Invalid(f"There are more than {ACTS_MAX} steps to do. Let the timetable repeat it instead.")
            )
        if self._acts % TURN_EVERY == 0:
            await asyncio.sleep(0)

    def _add(self, act: Act) -> None:
        step, begin = act.step, self.now_s
        match step:
            case WaitStep():
                self._append(act, begin, step.for_s, self.known.get(act.servo or ""), None)
                self.now_s += step.for_s
            case HomeStep():
                known = self._servo(act, homed=False)
                seconds = known.home_s() + SETTLE_S
                self._append(act, begin, seconds, known, None)
                known.at_deg = known.sheet.home.angle_deg if known.sheet.home else None
                self.now_s += seconds
            case MoveStep():
                self.now_s += self._move(act, step, begin, step.duration_s)
            case TurnStep():
                known = self._servo(act, homed=step.turns is not None or not self._endless(act))
                start = known.at_deg if known.at_deg is not None else 0.0
                path, cost = known.turn(start, step)
                self._append(act, begin, path.duration + SETTLE_S, known, path, cost)
                known.at_deg = None if known.at_deg is None else path.end.position
                self.now_s += path.duration + SETTLE_S
            case TogetherStep():
                self.now_s += self._together(act, step, begin)
            case _:
                raise AssertionError(step)

    def _move(self, act: Act, step: MoveStep, begin: float, duration: float | None) -> float:
        known = self._servo(act)
        if known.at_deg is None:
            return self._from_unknown(act, step, known, begin)
        path, cost = known.move(known.at_deg, step, duration)
        self._append(act, begin, path.duration + SETTLE_S, known, path, cost)
        known.at_deg = path.end.position
        return path.duration + SETTLE_S

    def _from_unknown(self, act: Act, step: MoveStep, known: Known, begin: float) -> float:
        """Where it begins is not known, so only what the target and the limits say can be checked."""
        requested_limits(step, known.sheet)
        if step.to_deg is not None:
            known.travel.check(step.to_deg)
            known.at_deg = step.to_deg
        self._append(act, begin, SETTLE_S, known, None)
        return SETTLE_S

    def _together(self, act: Act, step: TogetherStep, begin: float) -> float:
        moves = [Act(act.place, move, move.servo or act.servo) for move in step.steps]
        names = [move.needed_servo() for move in moves]
        if len(set(names)) != len(names):
            raise Invalid("Two of these moves are for the same servo; each servo can do one at a time.")
        starts = [self._servo(move).at_deg for move in moves]
        if any(start is None for start in starts):
            return max(self._from_unknown(a, m, self._servo(a), begin) for a, m in zip(moves, step.steps, strict=True))
        quickest = [
            self._servo(a).move(start or 0.0, m, m.duration_s)[0].duration
            for a, m, start in zip(moves, step.steps, starts, strict=True)
        ]
        longest = max(quickest)
        for a, m in zip(moves, step.steps, strict=True):
            self._move(a, m, begin, longest)
        return longest + SETTLE_S

    def _append(
        self, act: Act, begin: float, seconds: float, known: Known | None, path: Path | None, cost: Cost | None = None
    ) -> None:
        rest = known.effort.resting(seconds) if known else NOTHING
        start = known.at_deg if known else None
        self.legs.append(Leg(act.place, act.step.do, act.servo, begin, seconds, start, path, cost or rest))

    def _servo(self, act: Act, *, homed: bool = True) -> Known:
        name = act.needed_servo()
        sheet = self._sheets.get(name)
        if sheet is None:
            raise Invalid(f"There is no servo {name!r} here. Servos: {', '.join(self._sheets) or 'none'}.")
        if sheet.missing_to_move:
            missing = ", ".join(f"[{table}]" for table in sheet.missing_to_move)
            raise Invalid(f"The build sheet of {name} lacks {missing}, so it cannot move.")
        if name not in self.known:
            self.known[name] = Known(sheet, self._starts.get(name))
            self.needs_home[name] = homed
        return self.known[name]

    def _endless(self, act: Act) -> bool:
        sheet = self._sheets.get(act.needed_servo())
        return sheet is not None and sheet.travel is not None and sheet.travel.endless


NOTHING = Cost(0.0, 0.0, 0.0, 0.0, (), 0.0, 0.0, 0.0)
"""What a wait of no servo in particular costs."""


class Misplaced(Exception):
    """A step cannot be done: where it stands, and why."""

    def __init__(self, place: Place, refused: Refused) -> None:
        super().__init__(f"{place}: {refused.detail}")
        self.place = place
        self.refused = refused

    def as_refusal(self) -> Refused:
        """The same kind of refusal, with the place in front."""
        return type(self.refused)(str(self), **self.refused.extra)


async def forecast(
    sequence: Sequence,
    library: Library,
    sheets: Mapping[str, BuildSheet],
    starts: Mapping[str, float | None],
    servo: str | None = None,
) -> Forecaster:
    """Work out a whole sequence from where the servos are; None is a position that is not known. Raises Misplaced, Refused."""
    forecaster = Forecaster(sheets, starts)
    await Interpreter(library, forecaster).run(sequence, servo)
    return forecaster
