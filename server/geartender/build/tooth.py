"""What a tooth bears: bending at its root after Lewis, for spur gears and for the wheel of a worm.

σ = Kv · Wt / (b · m · Y), with the tangential force Wt in N, the face b and the module m in mm: σ in MPa.
Source: Budynas & Nisbett, Shigley's Mechanical Engineering Design, section 14-1 (equation numbers from memory).
"""

import math
from bisect import bisect_right
from itertools import pairwise

from geartender.errors import NoStrength

# Form factor Y of full-depth teeth of 20° loaded at the tip: Shigley's table 14-2, as six public copies of it agree.
FORM_FACTORS = {
    12: 0.245, 13: 0.261, 14: 0.277, 15: 0.290, 16: 0.296, 17: 0.303, 18: 0.309, 19: 0.314, 20: 0.322, 21: 0.328, 22: 0.331,
    24: 0.337, 26: 0.346, 28: 0.353, 30: 0.359, 34: 0.371, 38: 0.384, 43: 0.397, 50: 0.409, 60: 0.422, 75: 0.435, 100: 0.447,
    150: 0.460, 300: 0.472, 400: 0.480,
}  # fmt: skip
FEWEST_TEETH, MOST_TEETH = min(FORM_FACTORS), max(FORM_FACTORS)
# Form factor y of a worm wheel by the pressure angle in degrees, for σ = W / (pn · b · y): Buckingham's, in Shigley's chapter
# 15; from memory.
WHEEL_FORM_FACTORS = {14.5: 0.100, 20.0: 0.125, 25.0: 0.150, 30.0: 0.175}
# Pitch-line speed in m/s at which dynamic forces double the load on cut or milled teeth, after Barth.
BARTH_M_S = 6.1

_TEETH = list(FORM_FACTORS)


def form_factor(teeth: int) -> float:
    """Lewis form factor Y, straight between the rows of the table; above 400 teeth that of 400, a little on the safe side.

    Raises NoStrength below 12 teeth: the table says nothing there, and nothing is extrapolated.
    """
    if teeth < FEWEST_TEETH:
        raise NoStrength(f"the table of form factors begins at {FEWEST_TEETH} teeth, and one of the gears has {teeth}")
    if teeth >= MOST_TEETH:
        return FORM_FACTORS[MOST_TEETH]
    low, high = list(pairwise(_TEETH))[bisect_right(_TEETH, teeth) - 1]
    share = (teeth - low) / (high - low)
    return FORM_FACTORS[low] + share * (FORM_FACTORS[high] - FORM_FACTORS[low])


def wheel_form_factor(pressure_angle_deg: float) -> float:
    """Buckingham's form factor y of a worm wheel. Raises NoStrength at a pressure angle that is not tabled."""
    if pressure_angle_deg not in WHEEL_FORM_FACTORS:
        tabled = ", ".join(f"{angle:g}°" for angle in WHEEL_FORM_FACTORS)
        raise NoStrength(
            f"form factors of worm wheels are tabled for {tabled}, and this one has {pressure_angle_deg:g}°"
        )
    return WHEEL_FORM_FACTORS[pressure_angle_deg]


def velocity_factor(pitch_line_m_s: float) -> float:
    """How much more a running tooth is loaded than one at rest: (6.1 + V) / 6.1 for cut or milled teeth, after Barth."""
    return (BARTH_M_S + abs(pitch_line_m_s)) / BARTH_M_S


def spur_section_mm2(face_mm: float, module_mm: float, teeth: int) -> float:
    """What bears the bending of a spur gear's tooth: b · m · Y. Raises NoStrength below 12 teeth."""
    return face_mm * module_mm * form_factor(teeth)


def wheel_section_mm2(face_mm: float, module_mm: float, lead_angle_deg: float, pressure_angle_deg: float) -> float:
    """What bears the bending of a worm wheel's tooth: pn · b · y, with the normal pitch pn = π · m · cos λ.

    Raises NoStrength at a pressure angle that is not tabled.
    """
    normal_pitch = math.pi * module_mm * math.cos(math.radians(lead_angle_deg))
    return normal_pitch * face_mm * wheel_form_factor(pressure_angle_deg)


def root_stress_mpa(force_n: float, section_mm2: float, velocity: float = 1.0) -> float:
    """Bending stress at the root for a tangential force and a velocity factor."""
    return velocity * force_n / section_mm2


def force_limit_n(allowable_mpa: float, section_mm2: float, velocity: float = 1.0) -> float:
    """The tangential force that brings the root to the allowable stress."""
    return allowable_mpa * section_mm2 / velocity
