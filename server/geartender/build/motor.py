"""What follows from a brushed DC motor's data: the straight line from no-load speed to stall torque.

Formulas: w0 = (U - I0·R)/Kt, Is = U/R, Ts = Kt·(Is - I0), T = Kt·(I - I0), w = (U - I·R)/Kt, with Kt = Ke in SI units.
The losses at no load are taken as a constant torque, Kt·I0.
Source: MIT, D.C. Motor Torque/Speed Curve Tutorial, section 3 (the straight line).
"""

import math
from dataclasses import dataclass

from geartender.build.tables import Motor

RAD_S_PER_RPM = math.pi / 30

# What says how strong the motor is, in the order in which the figures prefer them: the resistance is what a meter shows.
CURVE_FIELDS = ("winding_ohm", "stall_current_a", "stall_torque_nm")
# Values of a data sheet that differ by no more than this agree: they are rounded, and typical. Common practice, no source.
AGREEMENT = 0.05

# Mechanical time constant, in s, of a small brushed motor whose rotor inertia is not given. Common practice, no source.
ASSUMED_TIME_S = 0.02


@dataclass(frozen=True, slots=True)
class MotorConstants:
    """The motor as an electrical machine, in SI units, with the winding cold."""

    supply_v: float
    resistance_ohm: float
    kt_nm_per_a: float
    """Torque per ampere, and as well the back-EMF in V per rad/s."""
    no_load_current_a: float
    no_load_rad_s: float
    stall_current_a: float
    stall_torque_nm: float

    @property
    def best_current_a(self) -> float:
        """Current at which the greatest share of the electrical power reaches the shaft."""
        return math.sqrt(self.no_load_current_a * self.stall_current_a)

    @property
    def friction_nm(self) -> float:
        """Torque that the motor loses inside, taken as constant."""
        return self.kt_nm_per_a * self.no_load_current_a

    @property
    def max_power_w(self) -> float:
        """Greatest shaft power, at half the no-load speed and half the stall torque."""
        return self.no_load_rad_s * self.stall_torque_nm / 4

    @property
    def max_efficiency(self) -> float:
        """Greatest share of the electrical power that reaches the shaft, at the current √(no-load · stall)."""
        return (1 - math.sqrt(self.no_load_current_a / self.stall_current_a)) ** 2

    def torque_nm(self, speed_rad_s: float) -> float:
        """Shaft torque at a speed and the full supply."""
        return self.stall_torque_nm * (1 - speed_rad_s / self.no_load_rad_s)

    def current_a(self, torque_nm: float) -> float:
        """Current for a shaft torque."""
        return self.no_load_current_a + torque_nm / self.kt_nm_per_a

    def speed_rad_s(self, volts: float, current_a: float) -> float:
        """Speed at a voltage and a current: (U - I·R) / Ke; 0 where it does not turn."""
        return max((volts - current_a * self.resistance_ohm) / self.kt_nm_per_a, 0.0)

    def volts(self, speed_rad_s: float, current_a: float) -> float:
        """Voltage that a speed and a current take: Ke·w + I·R."""
        return self.kt_nm_per_a * speed_rad_s + current_a * self.resistance_ohm


def motor_constants(motor: Motor) -> MotorConstants:
    """The constants of a motor that has no-load values and at least one value at stall or of the winding."""
    u, i0 = motor.supply_v, motor.no_load_current_a
    w0 = motor.no_load_rpm * RAD_S_PER_RPM
    r = resistance_ohm(motor)
    kt = (u - i0 * r) / w0
    return MotorConstants(u, r, kt, i0, w0, u / r, kt * (u / r - i0))


def resistance_ohm(motor: Motor) -> float:
    """Winding resistance, from the first of the three values that the sheet gives.

    With the stall torque it solves Ts = (U - I0·R)² / (R·w0), the smaller root: at the larger one no voltage is left at no load.
    """
    u = motor.supply_v
    if motor.winding_ohm is not None:
        return motor.winding_ohm
    if motor.stall_current_a is not None:
        return u / motor.stall_current_a
    if motor.stall_torque_nm is None:
        raise ValueError("a motor without winding_ohm, stall_current_a or stall_torque_nm")
    stall_power = motor.stall_torque_nm * motor.no_load_rpm * RAD_S_PER_RPM
    half = u * motor.no_load_current_a + stall_power / 2
    return u * u / (half + math.sqrt(half * half - (u * motor.no_load_current_a) ** 2))


@dataclass(frozen=True, slots=True)
class Disagreement:
    """Two values of a motor's sheet that cannot both be right."""

    field: str
    given: float
    other: str
    """The field that the figures rest on."""
    implied: float
    """What that field makes of the first."""

    @property
    def share(self) -> float:
        """How far the given value is off, as a share of the implied one."""
        return self.given / self.implied - 1.0


def disagreements(motor: Motor) -> list[Disagreement]:
    """Values at stall that differ from what the first one given makes of them, by more than data sheets round."""
    given = [name for name in CURVE_FIELDS if getattr(motor, name) is not None]
    constants = motor_constants(motor)
    implied = dict(
        zip(CURVE_FIELDS, (constants.resistance_ohm, constants.stall_current_a, constants.stall_torque_nm), strict=True)
    )
    found = [Disagreement(name, getattr(motor, name), given[0], implied[name]) for name in given[1:]]
    return [each for each in found if abs(each.share) > AGREEMENT]


def rotor_inertia_kg_m2(motor: Motor, constants: MotorConstants) -> float:
    """The rotor's inertia; where it is not given, the one that makes the time constant J·R/Kt² the usual one."""
    return motor.rotor_inertia_kg_m2 or ASSUMED_TIME_S * constants.kt_nm_per_a**2 / constants.resistance_ohm
