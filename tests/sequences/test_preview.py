"""Previews against the same mechanics worked out in small steps, and against what a hand calculates."""

from __future__ import annotations

import asyncio
import math
from typing import Any

import pytest

from geartender.build import BuildSheet, figures, motor_constants
from geartender.build.battery import hours
from geartender.motion import Path, State
from geartender.sequences.effort import Effort
from geartender.sequences.forecast import ACTS_MAX, SETTLE_S, Forecaster, Misplaced, forecast, held_path
from geartender.sequences.model import NESTING_MAX
from geartender.sequences.preview import Preview, preview_of
from geartender.sequences.reading import parse_sequence
from geartender.servo.planning import sheet_limits, turn_duration
from tests.servo.rig import direct, vent

SMALL_S = 1e-3


def worked_out(
    steps: list[Any], sheets: dict[str, BuildSheet] | None = None, start: float | None = 0.0, **others: list[Any]
) -> Forecaster:
    library = {name: parse_sequence({"steps": inner}) for name, inner in others.items()}
    sheets = sheets or {"vent": direct()}
    starts = dict.fromkeys(sheets, start)
    return asyncio.run(forecast(parse_sequence({"steps": steps}), library, sheets, starts, next(iter(sheets))))


def preview(steps: list[Any], sheet: BuildSheet | None = None, **others: list[Any]) -> Preview:
    return preview_of(worked_out(steps, {"vent": sheet or direct()}, **others))


def moments(path: Path) -> list[tuple[State, float]]:
    """The states of a path in small steps, each with the way it goes."""
    count = round(path.duration / SMALL_S)
    states = [path.at((index + 0.5) * path.duration / count) for index in range(count)]
    return [(state, math.copysign(1.0, state.velocity)) for state in states]


def test_energy_and_torque_are_those_of_small_steps() -> None:
    sheet = direct(load={"gravity_nm": 1.4}, supply={"standby_w": 2.0})
    found = worked_out(
        [{"do": "move", "to_deg": 60}, {"do": "wait", "for_s": 3}, {"do": "move", "to_deg": 5}], {"vent": sheet}
    )
    drive = Effort.of(sheet).drive
    motor, gain, ratio = motor_constants(sheet.motor), drive.gain, drive.ratio
    rotor, efficiency = sheet.motor.rotor_inertia_kg_m2, drive.efficiency
    energy, squares, peak = 2.0 * found.now_s, 0.0, 0.0
    for leg in found.legs:
        for state, way in moments(leg.path) if leg.path else []:
            alpha = math.radians(state.acceleration)
            load = 0.12 * alpha + 1.4 + 0.3 * way
            shaft = load / (ratio * efficiency) if load * way > 0 else load * efficiency / ratio
            amps = (shaft + rotor * alpha * ratio) / motor.kt_nm_per_a + motor.no_load_current_a * way
            volts = amps * motor.resistance_ohm + motor.kt_nm_per_a * math.radians(state.velocity) * ratio
            energy += max(amps * volts, 0.0) * SMALL_S
            warming = max(abs(amps) * motor.kt_nm_per_a - motor.friction_nm, 0.0) * gain
            squares += warming**2 * SMALL_S
            peak = max(peak, abs(load))
    shown = preview_of(found)
    assert shown.energy_j == pytest.approx(energy, rel=0.01)
    assert shown.rms_torque_nm == pytest.approx(math.sqrt(squares / found.now_s), rel=0.02)
    assert shown.peak_torque_nm == pytest.approx(peak, rel=0.01)
    assert shown.continuous_torque_nm == figures(sheet).continuous_torque_nm


def test_the_steps_follow_each_other_and_add_up() -> None:
    shown = preview([{"do": "move", "to_deg": 20}, {"do": "repeat", "times": 3, "steps": [{"do": "wait", "for_s": 2}]}])
    assert [step.at for step in shown.steps] == ["steps[0]", *["steps[1].steps[0]"] * 3]
    assert [step.begin_s for step in shown.steps[1:]] == pytest.approx(
        [shown.steps[0].planned_s + 2 * n for n in range(3)]
    )
    assert shown.planned_s == pytest.approx(shown.steps[0].planned_s + 6)


def test_a_held_turn_lasts_as_long_as_the_servo_says() -> None:
    limits = sheet_limits(vent())
    for speed, for_s in ((10.0, 3.0), (-10.0, 0.2), (5.0, 0.01), (20.0, 0.55)):
        path = held_path(30.0, speed, for_s, limits)
        assert path.at(for_s / 2).velocity * speed > 0
        if for_s > 1:  # it has come to its speed by then
            assert path.duration == pytest.approx(turn_duration(speed, for_s, limits), abs=1e-6)
        assert path.end.velocity == 0.0
        for before, after in zip(path.pieces, path.pieces[1:], strict=False):
            joined = before.at(before.duration)
            assert joined.position == pytest.approx(after.start.position, abs=1e-9)
            assert joined.velocity == pytest.approx(after.start.velocity, abs=1e-9)


def test_a_battery_lasts_by_its_rating() -> None:
    supply = {"kind": "battery", "capacity_ah": 7.0, "rated_hours": 20.0, "peukert_exponent": 1.2, "standby_w": 1.0}
    shown = preview([{"do": "move", "to_deg": 70}, {"do": "move", "to_deg": 0}], direct(supply=supply))
    amps = shown.energy_j / shown.planned_s / 12.0
    assert shown.runs_per_charge == math.floor(hours(7.0, 20.0, amps, 1.2) * 3600 / shown.planned_s)


def test_duties_are_named_by_what_repeats() -> None:
    once = preview([{"do": "move", "to_deg": 70}])
    assert once.duty_type is not None
    assert once.duty_type.startswith("S2 ")
    stroke = [
        {"do": "move", "to_deg": 70},
        {"do": "wait", "for_s": 20},
        {"do": "move", "to_deg": 0},
        {"do": "wait", "for_s": 20},
    ]
    often = preview([{"do": "repeat", "times": 50, "steps": stroke}])
    kind, share, percent = (often.duty_type or "").split()
    assert kind in {"S3", "S4", "S5"}
    assert percent == "%"
    moving = sum(
        leg.path.duration for leg in worked_out([{"do": "repeat", "times": 50, "steps": stroke}]).legs if leg.path
    )
    assert float(share) == pytest.approx(100 * moving / often.planned_s, abs=0.6)


def test_together_all_take_as_long_as_the_slowest() -> None:
    sheets = {"vent": direct(), "door": direct(limits={"speed_deg_s": 10})}
    moves = [{"do": "move", "servo": name, "to_deg": 40} for name in sheets]
    found = worked_out([{"do": "together", "steps": moves}], sheets)
    first, second = found.legs
    assert first.path is not None
    assert second.path is not None
    assert first.path.duration == pytest.approx(second.path.duration)
    assert found.now_s == pytest.approx(first.path.duration + SETTLE_S)
    with pytest.raises(Misplaced, match="same servo"):
        worked_out([{"do": "together", "steps": [moves[0], moves[0]]}], sheets)


@pytest.mark.parametrize(
    ("steps", "words"),
    [
        ([{"do": "move", "to_deg": 70}, {"do": "move", "by_deg": 10}], r"steps\[1\].*outside the travel"),
        ([{"do": "turn", "speed_deg_s": -10, "for_s": 5}], "outside the travel"),
        ([{"do": "turn", "speed_deg_s": 500, "for_s": 1}], "above the sheet's limit"),
        ([{"do": "move", "to_deg": 60, "duration_s": 0.5}], "too short"),
        ([{"do": "repeat", "times": ACTS_MAX, "steps": [{"do": "wait", "for_s": 1}] * 2}], "more than"),
    ],
)
def test_what_cannot_be_done_is_said_with_its_place(steps: list[Any], words: str) -> None:
    with pytest.raises(Misplaced, match=words):
        worked_out(steps)


def test_lists_within_lists_end_somewhere() -> None:
    others = {f"s{n}": [{"do": "run", "sequence": f"s{n + 1}"}] for n in range(NESTING_MAX)}
    others[f"s{NESTING_MAX}"] = [{"do": "home"}]
    with pytest.raises(Exception, match="lists within lists"):
        worked_out([{"do": "run", "sequence": "s0"}], **others)


def test_a_long_preview_is_drawn_in_few_points() -> None:
    shown = preview(
        [{"do": "repeat", "times": 2000, "steps": [{"do": "move", "to_deg": 30}, {"do": "move", "to_deg": 20}]}]
    )
    assert shown.steps_total == 4000
    assert len(shown.steps) == 2000
    assert len(shown.servos[0].path) < 1000
