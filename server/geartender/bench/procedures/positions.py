"""Positions: how exactly and how repeatably the lever comes to its targets, after ISO 230-2, by a gauge on the lever."""

from __future__ import annotations

import asyncio
from dataclasses import dataclass, field

import numpy as np

from geartender.bench.estimators import accuracy, mark
from geartender.bench.estimators.accuracy import Positioning
from geartender.bench.estimators.fit import Value
from geartender.bench.estimators.record import Floats
from geartender.bench.models import Announcement, Question
from geartender.bench.procedures.over_the_mark import FAR_DEG, over_the_mark, reach_deg, seek_way
from geartender.bench.procedures.places import PASS_DEG_S, high, homed, inward, low, room, to
from geartender.bench.procedures.work import Work
from geartender.bench.session import Session
from geartender.build.measured import Measured

EDGE_TITLE = "The home edge, from both sides"
PLACES_TITLE = "The same places, from both sides"

RUNS = 5
"""Times that each target is come to each way, as the standard has it."""

ENDS_SHARE, BEFORE_SHARE = 0.08, 0.02
"""Share of the travel at each end without targets, and where a series begins."""

STILL_S = 0.5
"""s that the lever rests before it is read."""


@dataclass(slots=True)
class Readings:
    """What the gauge showed, as deviations from the targets in degrees, run after run: way, then target."""

    targets: list[float]
    up: list[list[float]] = field(default_factory=list)
    down: list[list[float]] = field(default_factory=list)

    def deviations(self) -> tuple[Floats, Floats]:
        """As (targets, runs) up and down, whichever way the gauge counts. Runs that nobody read to their end are left out."""
        whole = min(len([run for run in way if len(run) == len(self.targets)]) for way in (self.up, self.down))
        targets = np.asarray(self.targets)
        shown = [
            np.asarray(way[:whole], float).reshape(whole, len(targets)).T
            for way in (self.up, [run[::-1] for run in self.down])
        ]
        if whole and np.sum((shown[0].mean(axis=1) - shown[0].mean()) * (targets - targets.mean())) < 0:
            shown = [-one for one in shown]
        up, down = (one - targets[:, None] for one in shown)
        return up, down


async def positions(session: Session) -> Measured:
    """The whole procedure; gives the measured values with accuracy, repeatability and reversal. Raises FoundWrong, SessionOver."""
    work = Work.of(session)
    session.step("edge", EDGE_TITLE)
    await _home_edge(work)
    session.step("places", PLACES_TITLE)
    gauge = await session.ask(
        Question(
            id="gauge",
            kind="choice",
            text="Is there a gauge on the lever that shows its angle to a tenth of a degree or better, and will you read it"
            f" {2 * RUNS * len(_targets(work))} times?",
            choices=["yes", "no"],
        )
    )
    if gauge == "yes":
        await _places(work)
    else:
        session.report.steps[-1].state = "skipped"
        session.say(
            "Without a gauge nothing is said of accuracy: the disc sits before the gears, and does not see the lever."
        )
    before = session.servo.measured
    return before.model_copy(update={"values": {**before.values, **work.values}})


async def _home_edge(work: Work) -> None:
    """The one place where the machine sees its own lever: by how many counts the edge lies off, pass after pass."""
    session, hands = work.session, work.hands
    reach = reach_deg(work)
    async with hands.within(
        Announcement(
            text=f"The output passes the edge of its home mark {RUNS} times each way, and once the whole mark, at most"
            f" {FAR_DEG:.0f}° beyond that edge; it may touch the end stop there, gently.",
            moves_deg=room(work) + FAR_DEG + 15,
            speed_deg_s=session.servo.sheet.limits.speed_deg_s if session.servo.sheet.limits else 0.0,
            torque_nm=hands.overload_nm,
            time_s=RUNS * (4 * reach / PASS_DEG_S + 4) + 2 * (reach + FAR_DEG) / PASS_DEG_S + 60,
        )
    ):
        await homed(work)
        await to(work, inward(work, reach))
        record = await over_the_mark(work, 0.6 * hands.overload_nm, PASS_DEG_S, RUNS)
    there, back = mark.near_edge(mark.passages(record), seek_way(work))
    if min(len(there), len(back)) < 2:
        session.say("The edge was not passed often enough to say how well it repeats.")
        return
    runs = min(len(there), len(back))
    up, down = (np.asarray([one[:runs]]) * work.scale.deg_per_count for one in (there, back))
    found = accuracy.positioning(up, down) if seek_way(work) > 0 else accuracy.positioning(down, up)
    session.say(
        f"At the home edge alone, by the disc: B {found.reversal:.3f}°, R↑ {found.repeatability_up:.3f}°,"
        f" R↓ {found.repeatability_down:.3f}°, R {found.repeatability:.3f}°; a count is {work.scale.deg_per_count:.3f}°."
    )


def _targets(work: Work) -> list[float]:
    """Evenly over the travel, each a little off, so that no error that repeats with the teeth hides."""
    number = accuracy.targets_wanted(room(work))
    edge = ENDS_SHARE * room(work)
    pitch = (room(work) - 2 * edge) / (number - 1)
    off = np.random.default_rng(number).uniform(-0.1, 0.1, number) * pitch
    off[[0, -1]] = 0.0
    return [round(float(low(work) + edge + at * pitch + off[at]), 1) for at in range(number)]


async def _places(work: Work) -> None:
    """All targets going up, then all going down, five times; read at each."""
    session, hands, limits = work.session, work.hands, work.session.servo.sheet.limits
    assert limits is not None  # noqa: S101 - a servo without cannot be claimed
    step_deg = await session.ask(
        Question(id="resolution", kind="number", unit="°", text="What is the smallest step that the gauge shows?")
    )
    readings = Readings(_targets(work))
    async with hands.within(
        Announcement(
            text=f"The output goes to {len(readings.targets)} places going up and then going down, {RUNS} times, and waits at"
            " each until you have read the gauge.",
            moves_deg=room(work) + 12,
            speed_deg_s=limits.speed_deg_s,
            torque_nm=hands.overload_nm,
            time_s=2 * RUNS * (2 * room(work) / limits.speed_deg_s + 5 * len(readings.targets)) + 60,
        )
    ):
        await homed(work)
        for run in range(1, RUNS + 1):
            if not await _series(work, readings, run):
                session.say(f"Nobody read the gauge any further, in run {run} of {RUNS}.")
                break
    _say(work, readings, abs(float(step_deg)))


async def _series(work: Work, readings: Readings, run: int) -> bool:
    """Up over all targets and down again; False where a reading was left out."""
    before = BEFORE_SHARE * room(work)
    for way, into, start in ((1, readings.up, low(work) + before), (-1, readings.down, high(work) - before)):
        await to(work, start)
        shown: list[float] = []
        into.append(shown)
        for target in readings.targets[::way]:
            await to(work, target)
            await asyncio.sleep(STILL_S)
            seen = await work.session.ask(
                Question(
                    id=f"reading-{run}-{'up' if way > 0 else 'down'}-{target:g}",
                    kind="number",
                    unit="°",
                    text=f"Run {run} of {RUNS}, going {'up' if way > 0 else 'down'}, sent to {target:g}°. What does the gauge show?"
                    " Leave it out to end here.",
                    optional=True,
                )
            )
            if seen is None:
                return False
            shown.append(float(seen))
    return True


def _say(work: Work, readings: Readings, step_deg: float) -> None:
    session = work.session
    up, down = readings.deviations()
    if up.shape[1] < 2:
        session.say("Fewer than two whole runs were read, so nothing is said of accuracy.")
        return
    found = accuracy.positioning(up, down)
    unsure = accuracy.unsure_by_reading(up, down, step_deg)
    work.found("accuracy_deg", Value(found.accuracy, unsure.accuracy))
    work.found("repeatability_deg", Value(found.repeatability, unsure.repeatability))
    work.found("reversal_deg", Value(found.reversal, unsure.reversal))
    _show(work, readings.targets, up, down)
    session.say(_words(found, up.shape[1]))
    session.say(f"Reading to {step_deg:g}° is in the uncertainties; the gauge's own error is not.")


def _words(found: Positioning, runs: int) -> str:
    """With the standard's symbols."""
    return (
        f"After ISO 230-2, {runs} runs: A {found.accuracy:.2f}°, R {found.repeatability:.2f}°"
        f" (R↑ {found.repeatability_up:.2f}°, R↓ {found.repeatability_down:.2f}°), B {found.reversal:.2f}°"
        f" (mean {found.mean_reversal:+.2f}°), E {found.systematic:.2f}°, M {found.mean_systematic:.2f}°."
    )


def _show(work: Work, targets: list[float], up: Floats, down: Floats) -> None:
    middle = float(np.mean([up, down]))
    work.plot(
        "Deviation from the targets",
        "°",
        "° off",
        {
            name: [(target, float(off) - middle) for target, row in zip(targets, rows, strict=True) for off in row]
            for name, rows in (("up", up), ("down", down))
        },
        dots=True,
    )
