"""What a sequence will do, before it does it: times, path, torque, duty, energy. Pure; times in s, angles in ° of the output."""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Iterable

from pydantic import Field

from geartender.build import BuildSheet, battery, duty, figures
from geartender.sequences.effort import Cost, Effort
from geartender.sequences.forecast import Forecaster, Known, Leg
from geartender.servo.models import Shown
from geartender.servo.settings import overload_nm

STEPS_SHOWN_MAX = 2000
"""Steps listed one by one; of more, the first are."""

POINTS = 900
"""Points of the drawn path: more than a phone has pixels across."""

MEANINGFUL_SHARE = 0.1
"""Share of the heat that starting, or braking, must make to name the duty after it. Common practice, no source."""


class PreviewStep(Shown):
    """One step that will be done."""

    at: str = Field(
        description="Its place in the document; with the name of the other sequence in front, if it is one's."
    )
    do: str
    servo: str | None
    begin_s: float = Field(description="When it begins, seconds from the start of the run.")
    planned_s: float = Field(description="How long it takes, seconds.")
    to_deg: float | None = Field(description="Where it ends, degrees; null where that is not known.")
    peak_torque_nm: float | None = Field(description="Largest torque at the output by the sheet, newton metres.")


class PreviewPoint(Shown):
    """One moment of one servo."""

    t_s: float
    angle_deg: float | None
    torque_nm: float


class PreviewServo(Shown):
    """What it asks of one servo."""

    servo: str
    path: list[PreviewPoint] = Field(description="Angle and torque over time, for drawing.")
    rms_torque_nm: float = Field(description="The steady torque that warms the motor as the run does, newton metres.")
    continuous_torque_nm: float | None = Field(
        description="The torque it may give for ever, newton metres; null where the sheet does not say what the motor stands."
    )
    peak_torque_nm: float = Field(description="Largest torque at the output, newton metres.")
    torque_limit_nm: float = Field(description="Torque above which the servo stops itself, newton metres.")
    duty_type: str = Field(description="By IEC 60034-1, such as `S3 40 %`.")
    duty_because: str = Field(description="Why that duty, in plain words.")
    energy_j: float = Field(description="Energy of one run with what the electronics draw meanwhile, joules.")
    runs_per_charge: int | None = Field(
        description="Runs that a full battery lasts, one after the other; null without a battery in the sheet."
    )
    limits_deg: tuple[float, float] | None = Field(description="The travel, degrees; null where it is endless.")


class Preview(Shown):
    """A sequence worked out. The figures at the top are those of its own servo; the energy is that of all."""

    planned_s: float = Field(description="How long the whole takes, seconds.")
    steps: list[PreviewStep]
    steps_total: int = Field(description="Steps that will be done; `steps` lists the first of them.")
    rms_torque_nm: float | None
    continuous_torque_nm: float | None
    peak_torque_nm: float | None
    duty_type: str | None
    energy_j: float
    runs_per_charge: int | None
    servos: list[PreviewServo]
    notes: list[str] = Field(description="What was assumed, in plain words.")


def preview_of(found: Forecaster) -> Preview:
    """The preview of a forecast."""
    servos = [_servo(name, known, found) for name, known in found.known.items()]
    own = servos[0] if servos else None
    return Preview(
        planned_s=round(found.now_s, 4),
        steps=[_step(leg) for leg in found.legs[:STEPS_SHOWN_MAX]],
        steps_total=len(found.legs),
        rms_torque_nm=own and own.rms_torque_nm,
        continuous_torque_nm=own and own.continuous_torque_nm,
        peak_torque_nm=own and own.peak_torque_nm,
        duty_type=own and own.duty_type,
        energy_j=round(sum(servo.energy_j for servo in servos), 3),
        runs_per_charge=own and own.runs_per_charge,
        servos=servos,
        notes=_notes(found),
    )


def _step(leg: Leg) -> PreviewStep:
    return PreviewStep(
        at=str(leg.place),
        do=leg.do,
        servo=leg.servo,
        begin_s=round(leg.begin_s, 4),
        planned_s=round(leg.planned_s, 4),
        to_deg=None if leg.path is None else round(leg.path.end.position, 4),
        peak_torque_nm=None if leg.path is None else round(leg.cost.peak_nm, 4),
    )


def _servo(name: str, known: Known, found: Forecaster) -> PreviewServo:
    legs = [leg for leg in found.legs if leg.servo == name]
    whole = whole_cost(legs, known.effort, found.now_s)
    sheet = known.sheet
    kind, because = duty_of(whole, repeats=len({str(leg.place) for leg in legs}) < len(legs))
    return PreviewServo(
        servo=name,
        path=_path(legs, known.effort, found.now_s),
        rms_torque_nm=round(duty.rms_torque(whole.segments), 4) if whole.seconds > 0.0 else 0.0,
        continuous_torque_nm=figures(sheet).continuous_torque_nm,
        peak_torque_nm=round(whole.peak_nm, 4),
        torque_limit_nm=round(overload_nm(sheet), 4),
        duty_type=kind,
        duty_because=because,
        energy_j=round(whole.energy_j, 3),
        runs_per_charge=runs_per_charge(sheet, whole),
        limits_deg=None if known.travel.endless else (known.travel.low, known.travel.high),
    )


def whole_cost(legs: Iterable[Leg], effort: Effort, until_s: float) -> Cost:
    """The costs of some legs of one servo, and of standing still in between and up to the end."""
    parts: list[Cost] = []
    reached = 0.0
    for leg in legs:
        if leg.begin_s > reached:
            parts.append(effort.resting(leg.begin_s - reached))
        parts.append(leg.cost)
        reached = leg.begin_s + leg.cost.seconds
    if until_s > reached:
        parts.append(effort.resting(until_s - reached))
    return Cost(
        sum(part.seconds for part in parts),
        sum(part.moving_s for part in parts),
        sum(part.energy_j for part in parts),
        max((part.peak_nm for part in parts), default=0.0),
        tuple(segment for part in parts for segment in part.segments),
        sum(part.starting_j for part in parts),
        sum(part.braking_j for part in parts),
        sum(part.heat_j for part in parts),
    )


def duty_of(whole: Cost, *, repeats: bool) -> tuple[str, str]:
    """The duty type of IEC 60034-1 that a run comes nearest to, and why."""
    if whole.moving_s <= 0.0:
        return "none", "Nothing moves."
    share = whole.moving_s / whole.seconds
    if not repeats:
        minutes = float(f"{whole.moving_s / 60:.2g}")
        return duty.short_time_name(60 * minutes), "It moves for a short time, and then there is time to cool down."
    starting, braking = (part / whole.heat_j if whole.heat_j else 0.0 for part in (whole.starting_j, whole.braking_j))
    percent = f"{100 * share:.2g} %"
    if share > 0.995:
        return "S8", f"It repeats without a rest: {duty.DUTY_TYPES['S8']}."
    if braking >= MEANINGFUL_SHARE:
        return f"S5 {percent}", f"It repeats with rests, and {braking:.0%} of the heat is made by braking."
    if starting >= MEANINGFUL_SHARE:
        return f"S4 {percent}", f"It repeats with rests, and {starting:.0%} of the heat is made by starting."
    return f"S3 {percent}", "It repeats with rests, and starting and braking make little of the heat."


def runs_per_charge(sheet: BuildSheet, whole: Cost) -> int | None:
    """Runs, one after the other, that a full battery lasts by Peukert's law; None without a battery or its capacity."""
    supply = sheet.supply
    if supply.kind != "battery" or supply.capacity_ah is None or whole.seconds <= 0.0 or whole.energy_j <= 0.0:
        return None
    current = whole.energy_j / whole.seconds / sheet.motor.supply_v
    lasts_h = battery.hours(supply.capacity_ah, supply.rated_hours, current, supply.peukert_exponent)
    return math.floor(lasts_h * 3600 / whole.seconds)


def _path(legs: list[Leg], effort: Effort, until_s: float) -> list[PreviewPoint]:
    """The path as points: everywhere alike, and the ends of the legs where there is room for them."""
    points: list[PreviewPoint] = []
    begins = [leg.begin_s for leg in legs]
    for t in _times(legs, until_s):
        index = bisect_right(begins, t) - 1
        points.append(_point(legs[index] if index >= 0 else None, effort, t))
    return points


def _times(legs: list[Leg], until_s: float) -> list[float]:
    if until_s <= 0.0:
        return []
    even = [until_s * index / POINTS for index in range(POINTS + 1)]
    ends = [leg.begin_s + (leg.path.duration if leg.path else 0.0) for leg in legs] + [leg.begin_s for leg in legs]
    return sorted({*even, *ends}) if len(ends) <= POINTS else even


def _point(leg: Leg | None, effort: Effort, t: float) -> PreviewPoint:
    if leg is None or leg.path is None:
        angle = leg.start_deg if leg else None
        return PreviewPoint(t_s=round(t, 4), angle_deg=angle, torque_nm=0.0)
    within = t - leg.begin_s
    state = leg.path.at(within)
    moving = within < leg.path.duration
    torque = effort.torque_nm(state, math.copysign(1.0, state.velocity) if state.velocity else 0.0) if moving else 0.0
    return PreviewPoint(t_s=round(t, 4), angle_deg=round(state.position, 4), torque_nm=round(torque, 4))


def _notes(found: Forecaster) -> list[str]:
    notes = []
    if any(leg.do == "check" for leg in found.legs):
        notes.append("Every check is taken to hold.")
    if any(leg.do == "home" for leg in found.legs):
        notes.append("Homing is taken to last as long as it usually does; its energy is not counted.")
    if any(leg.do == "move" and leg.path is None for leg in found.legs):
        notes.append(
            "Where the servo stands is not known, so the first move is not counted. Home it, or begin with homing."
        )
    if found.legs:
        notes.append("The torque is that of the build sheet's load; the load that is really there may be another.")
    return notes
