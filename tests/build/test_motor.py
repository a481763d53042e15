"""The motor's constants from whichever data the sheet gives, and data that contradict each other."""

from typing import Any

import pytest

from geartender.build import motor_constants, parse_build
from geartender.errors import BuildSheetError
from tests.build.test_strength import MOTOR, sheet, spur


def mistakes(**motor: Any) -> list[str]:
    with pytest.raises(BuildSheetError) as caught:
        sheet(spur(12, 24), motor=MOTOR | motor)
    return [str(item) for item in caught.value.items]


def test_a_second_value_that_agrees_is_welcome() -> None:
    constants = motor_constants(sheet(spur(12, 24)).motor)
    both = MOTOR | {"stall_current_a": 1.45, "stall_torque_nm": round(constants.stall_torque_nm, 4)}
    assert motor_constants(sheet(spur(12, 24), motor=both).motor) == constants


def test_a_contradiction_says_which_numbers_disagree_and_by_how_much() -> None:
    (line,) = mistakes(stall_current_a=3.0)
    assert line.startswith("motor.stall_current_a: (3) disagrees with winding_ohm (8)")
    assert "it would be 1.5, and it is 100% above" in line


def test_every_value_that_disagrees_is_named() -> None:
    lines = mistakes(stall_current_a=0.75, stall_torque_nm=1.0)
    assert [line.split(":")[0] for line in lines] == ["motor.stall_current_a", "motor.stall_torque_nm"]
    assert "50% below" in lines[0]


def test_a_stall_torque_that_belies_the_stall_current_is_found() -> None:
    motor = {key: value for key, value in MOTOR.items() if key != "winding_ohm"}
    with pytest.raises(BuildSheetError, match=r"stall_torque_nm: \(1\) disagrees with stall_current_a \(1.5\)"):
        parse_build(
            {
                "motor": motor | {"stall_current_a": 1.5, "stall_torque_nm": 1.0},
                "disc": {"marks_per_turn": 3},
                "mesh": [spur(12, 24)],
            }
        )


def test_a_motor_that_takes_more_at_no_load_than_at_stall_is_refused() -> None:
    (line,) = mistakes(no_load_current_a=2.0)
    assert line.startswith("motor.no_load_current_a: (2) is not below the stall current (1.5 A)")
