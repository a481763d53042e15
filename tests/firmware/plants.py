"""Three machines to hold control and guards against: a light printed train with play, a heavy unbalanced lever, a worm gearmotor.

Every value is invented. A machine's plant is what its sheet says, but for play, springs and a supply that gives way.
"""

from __future__ import annotations

from typing import NamedTuple

from geartender.build import BuildSheet
from geartender.simulator.plant import Plant
from tests.firmware.kit import VENT, plant_with, sheet_with

HOME = {"angle_deg": 0.0, "seek": "down", "speed_deg_s": 8.0}


class Machine(NamedTuple):
    """A build sheet and what was really built."""

    name: str
    sheet: BuildSheet
    plant: Plant

    @property
    def limit_nm(self) -> float:
        """Torque at the output above which it stops by itself."""
        assert self.sheet.overload.torque_nm is not None
        return self.sheet.overload.torque_nm


def _spur(driver: int, driven: int, module: float, face: float) -> dict[str, object]:
    return {
        "kind": "spur",
        "driver_teeth": driver,
        "driven_teeth": driven,
        "module_mm": module,
        "face_mm": face,
        "allowable_mpa": 20.0,
        "efficiency": 0.92,
        "backlash_mm": 0.15,
    }


def light() -> Machine:
    """The ridge vent as printed: play in every mesh, teeth that give."""
    sheet = sheet_with(VENT, load={"stiffness_nm_per_deg": 12.0})
    return Machine("light", sheet, plant_with(sheet))


def heavy() -> Machine:
    """A long lever with a weight at its end, on a 24 V motor and three wide meshes."""
    sheet = BuildSheet.model_validate(
        {
            "name": "Heavy lever",
            "motor": {
                "supply_v": 24.0,
                "no_load_rpm": 3900,
                "no_load_current_a": 0.16,
                "winding_ohm": 2.9,
                "rotor_inertia_kg_m2": 1.1e-5,
                "max_winding_c": 120,
                "thermal_k_per_w": 9,
                "thermal_time_s": 700,
            },
            "bridge": {"inputs": "two_pwm", "pwm_hz": 18000, "max_duty": 0.97, "current_limit_a": 6.0},
            "disc": {"marks_per_turn": 12, "sensors": 2},
            "mesh": [_spur(13, 62, 1.0, 10.0), _spur(13, 66, 1.5, 16.0), _spur(14, 70, 2.25, 26.0)],
            "home": HOME,
            "travel": {"min_deg": -10.0, "max_deg": 80.0},
            "limits": {"speed_deg_s": 45.0, "accel_deg_s2": 110.0, "jerk_deg_s3": 900.0, "torque_nm": 22.0},
            "load": {"inertia_kg_m2": 0.65, "gravity_nm": 9.0, "friction_nm": 0.5, "stiffness_nm_per_deg": 30.0},
            "overload": {"torque_nm": 24.0, "for_ms": 100.0, "action": "stop"},
            "rest": {"after_move": "hold", "approach": "shortest"},
            "pins": {"disc_a": 2, "disc_b": 3, "home": 4, "pwm_a": 6, "pwm_b": 7, "enable": 8, "supply": 26},
        }
    )
    return Machine("heavy", sheet, plant_with(sheet, supply={"resistance_ohm": 0.12}))


def worm() -> Machine:
    """A salvaged worm gearmotor with one printed mesh behind it: locks itself, loses most of its power."""
    sheet = BuildSheet.model_validate(
        {
            "name": "Worm gearmotor",
            "motor": {
                "supply_v": 12.0,
                "no_load_rpm": 3300,
                "no_load_current_a": 0.6,
                "winding_ohm": 1.4,
                "rotor_inertia_kg_m2": 2.8e-5,
                "max_winding_c": 120,
                "thermal_k_per_w": 6,
                "thermal_time_s": 600,
            },
            "bridge": {"inputs": "pwm_direction", "pwm_hz": 16000, "max_duty": 1.0, "current_limit_a": 6.0},
            "disc": {"marks_per_turn": 4, "sensors": 2},
            "mesh": [
                {
                    "kind": "worm",
                    "starts": 1,
                    "driven_teeth": 54,
                    "module_mm": 1.25,
                    "face_mm": 10.0,
                    "allowable_mpa": 30.0,
                    "lead_angle_deg": 4.5,
                    "pressure_angle_deg": 20.0,
                    "friction": 0.09,
                },
                _spur(16, 56, 2.0, 22.0),
            ],
            "home": HOME,
            "travel": {"min_deg": 0.0, "max_deg": 100.0},
            "limits": {"speed_deg_s": 50.0, "accel_deg_s2": 150.0, "jerk_deg_s3": 1500.0, "torque_nm": 10.0},
            "load": {"inertia_kg_m2": 0.2, "gravity_nm": 1.5, "friction_nm": 0.4, "stiffness_nm_per_deg": 20.0},
            "overload": {"torque_nm": 11.0, "for_ms": 100.0, "action": "stop"},
            "rest": {"after_move": "brake", "approach": "shortest"},
            "pins": {"disc_a": 2, "disc_b": 3, "home": 4, "pwm_a": 6, "pwm_b": 7, "enable": 8, "supply": 26},
        }
    )
    return Machine("worm", sheet, plant_with(sheet))


MACHINES = {made.name: made for made in (light(), heavy(), worm())}
