"""Figures of a whole build against facts of the trade: common practice, no source."""

import pytest

from geartender.build import Figures, figures, parse_build

MOTOR = {"supply_v": 12, "no_load_rpm": 4310, "no_load_current_a": 0.06, "winding_ohm": 6}


def with_ratio(driven: int, driver: int = 1, marks: int = 3) -> Figures:
    mesh = {"kind": "spur", "driver_teeth": driver, "driven_teeth": driven}
    return figures(parse_build({"motor": MOTOR, "disc": {"marks_per_turn": marks}, "mesh": [mesh]}))


def test_two_sensors_on_three_magnets_divide_a_turn_in_twelve() -> None:
    assert with_ratio(355).counts_per_motor_turn == 12


def test_a_little_over_4300_rev_per_minute_is_about_50_000_steps_a_minute() -> None:
    found = with_ratio(355)
    assert 60 * found.count_rate_hz == pytest.approx(50_000, rel=0.05)
    assert found.count_rate_hz == pytest.approx(860, rel=0.01)


def test_reduced_355_to_1_that_is_4260_steps_a_turn() -> None:
    assert with_ratio(355).counts_per_output_turn == 4260


def test_with_117_to_1_the_lever_turns_about_three_times_as_fast() -> None:
    quick, slow = with_ratio(117), with_ratio(355)
    assert quick.no_load_output_deg_s / slow.no_load_output_deg_s == pytest.approx(3, rel=0.02)
    assert quick.output_stall_torque_nm == pytest.approx(slow.output_stall_torque_nm * 117 / 355)


def test_a_worm_stage_of_72_to_1() -> None:
    worm = {"kind": "worm", "starts": 1, "driven_teeth": 72, "lead_angle_deg": 4}
    found = figures(parse_build({"motor": MOTOR, "disc": {"marks_per_turn": 3}, "mesh": [worm]}))
    assert found.gear_ratio == 72
    assert found.self_locking
