"""Tune: one knob from calm to quick, what it does shown before it is tried, tried on the same move, and saved only when told to."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np

from geartender.bench.estimators.prediction import Margins, predicted
from geartender.bench.estimators.record import Floats
from geartender.bench.models import Announcement, Preview, Question, Range
from geartender.bench.procedures.gains import Model, in_force, tuned
from geartender.bench.procedures.measure.breakaway import starts
from geartender.bench.procedures.measure.evaluate import evaluate
from geartender.bench.procedures.measure.homings import homings
from geartender.bench.procedures.measure.runs import runs
from geartender.bench.procedures.measure.stop import Pressed
from geartender.bench.procedures.places import homed, inward, room
from geartender.bench.procedures.work import Work
from geartender.bench.session import FoundWrong, Session
from geartender.build.measured import Measured, Tuning
from geartender.servo.requests import MoveRequest
from geartender.servo.settings import firmware_settings
from geartender.servo.units import TICK_S, WIRE

MOVE_TITLE = "The move as it is"
KNOB_TITLE = "The knob, before and after"

START_SHARE, FAR_SHARE, FAR_DEG = 0.2, 0.4, 40.0
"""Share of the travel at which the moves begin; how far they go, as a share of it and at most."""
STOPS = (1.0, 0.3, 0.8, 0.0)
"""Where they end, in parts of that: settling repeats badly, so more than one is looked at."""

EVERY_TICKS = 5
"""Ticks from sample to sample."""

CLOCK = 1 << 30
"""µs after which the firmware's clock begins anew."""

WORSE, WORSE_S = 1.02, 0.03
"""What gains that are no better may be worse by: within what a move repeats by itself."""

POSITIONS = 100
PREVIEW_EVERY = 10
"""Positions of the knob, and the step between those that are worked out beforehand."""
MIDDLE = 50

CURVE_POINTS = 80
"""Points of a previewed curve."""

TURNS = 10
"""Times that the knob is turned in one run."""


@dataclass(frozen=True, slots=True)
class Followed:
    """How the moves were followed: the error of each in degrees, sample by sample, and how long each took to settle."""

    errors: list[Floats]
    settle_s: list[float]

    @property
    def rms_deg(self) -> float:
        """Following error, root of the mean square."""
        return rms(self.errors)

    @property
    def settled_s(self) -> float:
        """Time to settle, the median: one move in a dozen sticks beside its target, whatever the gains."""
        return float(np.median(self.settle_s))

    def no_worse(self, old: Followed) -> bool:
        """Whether it follows and settles as well as another, within what a move repeats by itself."""
        return self.rms_deg <= old.rms_deg * WORSE and self.settled_s <= old.settled_s + WORSE_S


async def tune(session: Session) -> Measured:
    """The whole procedure; gives the measured values with the tuning that the person saved, or with the one there was."""
    work = Work.of(session)
    if session.servo.measured.value("ke_v_s") is None:
        await homings(work)
        found = await runs(work)
        await evaluate(work, found, await starts(work), Pressed([], []))
    session.step("move", MOVE_TITLE)
    old = await moves(work, None)
    work.plot("Following the move as it is", "s", "° behind", {"measured": curve(old.errors)})
    session.say(f"As it is: {old.rms_deg:.3f}° off on the average (rms), settled in {old.settled_s:.2f} s.")
    session.step("knob", KNOB_TITLE)
    kept = await the_knob(work, old)
    before = session.servo.measured
    values = {**before.values, **work.values}
    return before.model_copy(update={"values": values, "tuning": kept, "magnets": work.magnets or before.magnets})


async def the_knob(work: Work, old: Followed) -> Tuning | None:
    """Turn, look, try, until it is saved or left."""
    session, model = work.session, Model.of(work)
    now = in_force(session.servo.settings)
    previews = await session.think(lambda: [preview(model, now, old, at) for at in _previewed()])
    for _ in range(TURNS):
        position = await session.ask(_knob(previews, old))
        gains = await session.think(partial(tuned, model, position / POSITIONS))
        expected = await session.think(partial(errors_under, model, now, gains, old))
        margins = await session.think(partial(Margins.of, model.loop(gains)))
        session.say(
            f"At {position:.0f}, by the SIMC rule: {gains.kp_v_per_count:.3f} V for a count, damping {gains.damping:.2f};"
            f" on the model Ms {margins.ms:.2f}, gain margin {margins.gain:.1f}, phase margin {margins.phase_deg:.0f}°."
        )
        new = await moves(work, gains)
        work.plot(
            f"Following the same move, at {position:.0f}",
            "s",
            "° behind",
            {"before": curve(old.errors), "after": curve(new.errors), "predicted": curve(expected)},
        )
        session.say(
            f"After: {new.rms_deg:.3f}° off (predicted {rms(expected):.3f}°), settled in {new.settled_s:.2f} s;"
            f" before {old.rms_deg:.3f}° and {old.settled_s:.2f} s."
        )
        answer = await session.ask(_save(new.no_worse(old)))
        if answer == "save":
            return gains
        if answer == "leave":
            break
    session.say("The gains stay as they were.")
    return session.servo.measured.tuning


def _knob(previews: list[Preview], old: Followed) -> Question:
    return Question(
        id="knob",
        kind="range",
        text="How should it move? Turn the knob and see what the model says of the same move; nothing moves yet.",
        range=Range(
            low=0,
            high=POSITIONS,
            step=PREVIEW_EVERY,
            start=MIDDLE,
            ends=("calm", "quick"),
            measured=curve(old.errors),
            previews=previews,
        ),
    )


def _save(no_worse: bool) -> Question:
    verdict = "It follows no worse than before." if no_worse else "It follows or settles worse than before."
    return Question(
        id="save",
        kind="choice",
        text=f"{verdict} Save these gains, turn the knob again, or leave it as it was?",
        choices=["save", "again", "leave"],
    )


def _previewed() -> range:
    return range(0, POSITIONS + 1, PREVIEW_EVERY)


def preview(model: Model, now: Tuning, old: Followed, position: int) -> Preview:
    """What a position of the knob would do to the move that was recorded."""
    gains = tuned(model, position / POSITIONS)
    margins = Margins.of(model.loop(gains))
    expected = errors_under(model, now, gains, old)
    return Preview(
        position=position,
        ms=round(margins.ms, 3),
        gain_margin=round(margins.gain, 2),
        phase_margin_deg=round(margins.phase_deg, 1),
        rms_deg=round(rms(expected), 5),
        largest_deg=round(max(float(np.max(np.abs(one))) for one in expected), 5),
        curve=curve(expected),
    )


def errors_under(model: Model, now: Tuning, then: Tuning, old: Followed) -> list[Floats]:
    """The recorded errors as they would be with other gains."""
    return [predicted(one, EVERY_TICKS * TICK_S, model.loop(now), model.loop(then)) for one in old.errors]


def rms(errors: Sequence[Floats]) -> float:
    """Root of the mean square of all samples."""
    return float(np.sqrt(np.mean(np.concatenate(errors) ** 2)))


def curve(errors: Sequence[Floats]) -> list[tuple[float, float]]:
    """The errors of move after move, over the time moved, thinned to what a picture shows."""
    whole = np.concatenate(errors)
    every = max(1, len(whole) // CURVE_POINTS)
    return [(round(at * EVERY_TICKS * TICK_S, 3), round(float(whole[at]), 5)) for at in range(0, len(whole), every)]


async def moves(work: Work, gains: Tuning | None) -> Followed:
    """The same moves under gains; None: those in force. Raises FoundWrong."""
    hands, servo = work.hands, work.session.servo
    limits = servo.sheet.limits
    assert limits is not None  # noqa: S101 - a servo without cannot be claimed
    far = min(FAR_SHARE * room(work), FAR_DEG)
    gains_words = "the gains as they are" if gains is None else "the new gains"
    async with hands.within(
        Announcement(
            text=f"The output makes {len(STOPS)} moves of up to {far:.0f}° with {gains_words}.",
            moves_deg=room(work) + 12,
            speed_deg_s=limits.speed_deg_s,
            torque_nm=hands.overload_nm,
            time_s=len(STOPS) * (far / limits.speed_deg_s + 4) + 40,
        )
    ):
        await homed(work)
        if gains is not None:
            await hands.trial(_changed(work, gains))
            await hands.arm()
        start = START_SHARE * room(work)
        await _move(work, inward(work, start))
        return await _followed(work, [inward(work, start + part * far) for part in STOPS], gains is None)


def _changed(work: Work, gains: Tuning) -> dict[str, int]:
    whole = firmware_settings(work.session.servo.built, gains)
    return {name: whole[name] for name in ("kp_num", "kp_shift", "ki_num", "ki_shift", "damping")}


async def _followed(work: Work, stops: list[float], before: bool) -> Followed:
    errors, settle = [], []
    for number, stop in enumerate(stops, 1):
        async with work.hands.recorded(EVERY_TICKS) as recording:
            settle.append(await _move(work, stop))
        work.keep(f"move-{'before' if before else 'after'}-{number}", recording)
        rows = [row for row in recording.rows if row.state == "moving"]
        off = np.array([(row.reference / WIRE - row.count - 0.5) * work.scale.deg_per_count for row in rows], float)
        if len(rows) > 1:
            errors.append(_evenly(np.array([(row.t - rows[0].t) % CLOCK for row in rows]) / 1e6, off))
    return Followed(errors, settle)


def _evenly(t_s: Floats, values: Floats) -> Floats:
    """At equal times: telemetry comes as it comes."""
    return np.interp(np.arange(0.0, t_s[-1], EVERY_TICKS * TICK_S), t_s, values)


async def _move(work: Work, deg: float) -> float:
    """An ordinary move; how long it took to settle, s. Raises FoundWrong."""
    motion = await work.session.servo.move(work.session.who, MoveRequest(to_deg=deg))
    await motion.ended()
    if not work.hands.fine(motion):
        raise FoundWrong("move", f"The move did not end as it should: {motion.reason}.", "Run first power.")
    return max((motion.actual_s or math.inf) - (motion.planned_s or 0.0), 0.0)
