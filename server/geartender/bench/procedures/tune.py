"""Tune: gains from the identified model, tried on the same move before and after."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from geartender.bench.estimators.identification import largest_sensitivity, position_loop, simc_integrating
from geartender.bench.models import Announcement, Question
from geartender.bench.procedures import measure
from geartender.bench.procedures.places import inward, room
from geartender.bench.procedures.work import Work
from geartender.bench.session import FoundWrong, Session
from geartender.build.measured import Measured, Tuning
from geartender.servo.requests import MoveRequest
from geartender.servo.settings import DAMPING_MAX, KP_SUPPLY_SHARE, LAG_S, QUICK_TIME_S, firmware_settings
from geartender.servo.units import WIRE

CALM, QUICK = 4.0, 1.2
"""Closed-loop time constants of the ends of the knob, in effective delays; the rule's own choice is one."""

MS_MAX = 1.6
"""Largest sensitivity that is accepted on the model: the true machine is a little other than its model."""

WORSE = 1.02
WORSE_S = 0.03
"""What gains that are no better may be worse by: within what a move repeats by itself."""

KNOBS = {"calm": 0.15, "middle": 0.5, "quick": 0.85}


@dataclass(frozen=True, slots=True)
class Followed:
    """How well a move was followed."""

    rms_deg: float
    largest_deg: float
    settle_s: float
    curve: list[tuple[float, float]]


async def tune(session: Session) -> Measured:
    """The whole procedure; gives the measured values with the tuning that was better, or as they were."""
    work = Work.of(session)
    if session.servo.measured.value("ke_v_s") is None:
        await measure.homings(work)
        found = await measure.runs(work)
        measure.evaluate(work, found, measure.Pressed([], []))
    session.step("model", "The model")
    knob = KNOBS[await session.ask(Question(id="knob", kind="choice", text="How should it move?", choices=list(KNOBS)))]
    tuning = await session.think(lambda: tuned(work, knob))
    session.say(
        f"Gains by the SIMC rule: {tuning.kp_v_per_count:.3f} V for a count, damping {tuning.damping:.2f};"
        f" the largest sensitivity on the model is {tuning.ms:.2f}."
    )
    kept = await before_and_after(work, tuning)
    before = session.servo.measured
    values = {**before.values, **work.values}
    return before.model_copy(update={"values": values, "tuning": kept, "magnets": work.magnets or before.magnets})


def model(work: Work) -> tuple[float, float]:
    """(counts per s for a volt, lag in s): as measured, else as the sheet says."""
    ke = work.value("ke_v_s") or work.dynamics.motor.kt_nm_per_a
    lag = work.value("time_constant_s") or work.dynamics.time_s
    return work.dynamics.counts_per_rad / ke, lag


def tuned(work: Work, knob: float) -> Tuning:
    """Gains for a knob from 0, calm, to 1, quick; calmer than that where the margins ask for it."""
    rate, lag = model(work)
    damping = min(max(lag / QUICK_TIME_S - 1, 0.0), DAMPING_MAX)
    supply = work.session.servo.sheet.motor.supply_v
    times = CALM * (QUICK / CALM) ** knob
    while True:
        # half of the lag that the damping leaves counts as delay (half rule)
        delay = LAG_S + lag / (1 + damping) / 2
        pi = simc_integrating(rate / (1 + damping), delay, times * delay)
        kp = min(pi.kc, KP_SUPPLY_SHARE * supply)
        loop = position_loop(rate, lag, LAG_S, kp, kp / pi.ti_s, damping)
        ms = largest_sensitivity(loop)
        if ms <= MS_MAX or times > 20:
            break
        times *= 1.1
        damping *= 0.97
    return Tuning(
        kp_v_per_count=min(kp, 60.0), ki_v_per_count_s=kp / pi.ti_s, damping=damping, knob=knob, ms=round(ms, 3)
    )


async def before_and_after(work: Work, tuning: Tuning) -> Tuning | None:
    """Try the gains on the same move as the present ones; what is kept is no worse."""
    session, hands, servo = work.session, work.hands, work.session.servo
    session.step("compare", "Before and after")
    limits = servo.sheet.limits
    assert limits is not None  # noqa: S101 - a servo without cannot be claimed
    far = min(0.4 * room(work), 40.0)
    async with hands.within(
        Announcement(
            text=f"The output makes the same move of {far:.0f}° up and down, with the gains as they are and with the new ones.",
            moves_deg=room(work) + 12,
            speed_deg_s=limits.speed_deg_s,
            torque_nm=hands.overload_nm,
            time_s=4 * (far / limits.speed_deg_s + 4) + 40,
        )
    ):
        await hands.ready()
        if not servo.live.homed and not hands.fine(await hands.home()):
            raise FoundWrong("home", "It did not find home.", "Run first power: it finds out why.")
        old = await _try(work, None, far)
        new = await _try(work, tuning, far)
        if not _no_worse(new, old):
            calmer = tuned(work, max(tuning.knob - 0.35, 0.0))
            again = await _try(work, calmer, far)
            tuning, new = calmer, again
    work.plot("Following the same move", "s", "° behind", {"before": old.curve, "after": new.curve})
    session.say(f"Before: {old.rms_deg:.3f}° off on the average (rms), settled in {old.settle_s:.2f} s.")
    session.say(f"After: {new.rms_deg:.3f}° off, settled in {new.settle_s:.2f} s.")
    if _no_worse(new, old):
        return tuning
    session.say("The new gains were no better, so the old ones stay.")
    return servo.measured.tuning


def _no_worse(new: Followed, old: Followed) -> bool:
    return new.rms_deg <= old.rms_deg * WORSE and new.settle_s <= old.settle_s + WORSE_S


async def _try(work: Work, tuning: Tuning | None, far: float) -> Followed:
    """The move there and back under gains; None: those in force."""
    hands, servo = work.hands, work.session.servo
    changes = {}
    if tuning is not None:
        whole = firmware_settings(servo.built, tuning)
        changes = {name: whole[name] for name in ("kp_num", "kp_shift", "ki_num", "ki_shift", "damping")}
    await hands.trial(changes)
    await hands.arm()
    start = inward(work, 0.2 * room(work))
    await _move(work, start)
    async with hands.recorded(5) as recording:
        settle = [await _move(work, inward(work, 0.2 * room(work) + far)), await _move(work, start)]
    work.keep(f"move-{'before' if tuning is None else 'after'}", recording)
    rows = [row for row in recording.rows if row.state == "moving"]
    off = np.array([(row.reference / WIRE - row.count - 0.5) * work.scale.deg_per_count for row in rows])
    began = rows[0].t
    curve = [(((row.t - began) % (1 << 30)) / 1e6, float(value)) for row, value in zip(rows, off, strict=True)]
    return Followed(float(np.sqrt(np.mean(off**2))), float(np.max(np.abs(off))), float(np.mean(settle)), curve)


async def _move(work: Work, deg: float) -> float:
    """An ordinary move; how long it took to settle, s. Raises FoundWrong."""
    motion = await work.session.servo.move(work.session.who, MoveRequest(to_deg=deg))
    await motion.ended()
    if not work.hands.fine(motion):
        raise FoundWrong("move", f"The move did not end as it should: {motion.reason}.", "Run first power.")
    return max((motion.actual_s or math.inf) - (motion.planned_s or 0.0), 0.0)
