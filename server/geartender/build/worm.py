"""A worm and its wheel: their measures, the forces between them, and what passes in each direction.

Angles in degrees; lengths in the unit that the module is given in; forces in the unit of the torque over that length.
Sources: Mechanical Engineer's Data Handbook section 2.10.6; Elements of Metric Gear Technology equations 16-21 and 16-23; Shigley's
Mechanical Engineering Design chapter 13 (equation numbers from memory).
"""

import math
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class WormGeometry:
    """The measures that follow from module, starts, teeth and lead angle."""

    axial_pitch: float
    lead: float
    worm_diameter: float
    """Pitch diameter of the worm."""
    wheel_diameter: float
    """Pitch diameter of the wheel."""
    centre_distance: float

    @classmethod
    def of(cls, module: float, starts: int, teeth: int, lead_angle_deg: float) -> "WormGeometry":
        """tan λ = lead / (π · worm diameter), lead = starts · axial pitch, axial pitch = π · module."""
        pitch = math.pi * module
        worm = module * starts / math.tan(math.radians(lead_angle_deg))
        wheel = module * teeth
        return cls(pitch, starts * pitch, worm, wheel, (worm + wheel) / 2)


@dataclass(frozen=True, slots=True)
class WormForces:
    """The force between worm and wheel in its parts, while the worm drives."""

    normal: float
    radial: float
    """Pushes worm and wheel apart."""
    worm_tangential: float
    wheel_tangential: float
    """Turns the wheel, and pushes the worm along its axle."""

    @classmethod
    def of(
        cls, worm_tangential: float, lead_angle_deg: float, pressure_angle_deg: float, friction: float
    ) -> "WormForces":
        """The parts that belong to a force at the worm's pitch circle; the pressure angle φ is in the normal plane.

        Worm W·(cos φ · sin λ + f · cos λ), radial W · sin φ, wheel W·(cos φ · cos λ - f · sin λ).
        """
        lead, pressure = math.radians(lead_angle_deg), math.radians(pressure_angle_deg)
        normal = worm_tangential / (math.cos(pressure) * math.sin(lead) + friction * math.cos(lead))
        wheel = normal * (math.cos(pressure) * math.cos(lead) - friction * math.sin(lead))
        return cls(normal, normal * math.sin(pressure), worm_tangential, wheel)


def forward_efficiency(lead_angle_deg: float, pressure_angle_deg: float, friction: float) -> float:
    """Share of the power that passes from worm to wheel: (cos φ - f · tan λ) / (cos φ + f · cot λ); 0 where none does."""
    cosine, slope = math.cos(math.radians(pressure_angle_deg)), math.tan(math.radians(lead_angle_deg))
    return max((cosine - friction * slope) / (cosine + friction / slope), 0.0)


def friction_at(lead_angle_deg: float, pressure_angle_deg: float, efficiency: float) -> float:
    """The coefficient of friction at which that share passes from worm to wheel: `forward_efficiency` turned round."""
    cosine, slope = math.cos(math.radians(pressure_angle_deg)), math.tan(math.radians(lead_angle_deg))
    return cosine * (1 - efficiency) / (efficiency / slope + slope)


def backward_efficiency(lead_angle_deg: float, pressure_angle_deg: float, friction: float) -> float:
    """Share of the power that passes from wheel to worm; 0 or less where the wheel cannot turn the worm.

    (cos φ · sin λ - f · cos λ) / ((cos φ · cos λ + f · sin λ) · tan λ).
    """
    cosine, lead = math.cos(math.radians(pressure_angle_deg)), math.radians(lead_angle_deg)
    passes = cosine * math.sin(lead) - friction * math.cos(lead)
    return passes / ((cosine * math.cos(lead) + friction * math.sin(lead)) * math.tan(lead))


def locking_margin(lead_angle_deg: float, pressure_angle_deg: float, friction: float) -> float:
    """Friction as a multiple of what just locks, f / (cos φ · tan λ): the wheel cannot turn the worm from 1 on."""
    slope = math.tan(math.radians(lead_angle_deg))
    return friction / (math.cos(math.radians(pressure_angle_deg)) * slope)


def sliding_speed(worm_speed: float, lead_angle_deg: float) -> float:
    """Speed at which the flanks slide, for a speed of the worm's pitch circle: v / cos λ."""
    return worm_speed / math.cos(math.radians(lead_angle_deg))
