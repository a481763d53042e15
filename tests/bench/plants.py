"""Random machines: a build sheet, and a plant that is not what the sheet says. Every value is invented or drawn from a seed."""

from __future__ import annotations

import random
from typing import Any

import numpy as np

from geartender.build import BuildSheet
from geartender.simulator.plant import Plant, plant_of
from tests.firmware.plants import MACHINES
from tests.servo.rig import direct

OFF = {
    "resistance_ohm": 0.15,
    "ke_v_s": 0.12,
    "rotor_inertia_kg_m2": 0.25,
    "coulomb_nm": 0.35,
}
"""Share by which the motor is off its sheet at most."""


def sheets() -> list[BuildSheet]:
    """The designs that are drawn from."""
    heavy = MACHINES["heavy"].sheet
    balanced = heavy.model_copy(update={"load": heavy.load.model_copy(update={"gravity_nm": 0.7})})
    return [direct(), balanced, MACHINES["worm"].sheet]


def machine(seed: int, *, swapped: bool = False) -> tuple[BuildSheet, Plant]:
    """A sheet, and the machine that somebody built after it."""
    chance = random.Random(seed)
    sheet = sheets()[seed % 3]
    if swapped:
        sheet = sheet.model_copy(update={"bridge": sheet.bridge.model_copy(update={"swapped": True})})
    plant: dict[str, Any] = plant_of(sheet).model_dump()
    motor = plant["motor"]
    for name, share in OFF.items():
        motor[name] *= 1 + chance.uniform(-share, share)
    top = sheet.motor.supply_v / motor["ke_v_s"]
    motor["viscous_nm_s"] = chance.uniform(0, 0.3) * motor["coulomb_nm"] / top
    plant["gear"] |= {
        "backlash_deg": chance.uniform(0.25, 1.1),
        "stiffness_nm_per_deg": chance.uniform(0.7, 1.5) * (sheet.load.stiffness_nm_per_deg or 20.0),
        "efficiency": min(0.95, plant["gear"]["efficiency"] * chance.uniform(0.85, 1.1)),
    }
    for name in ("inertia_kg_m2", "gravity_nm", "friction_nm"):
        plant["load"][name] *= chance.uniform(0.8, 1.2)
    plant["disc"]["phase_error_deg"] = chance.uniform(2, 15)
    plant["supply"] = {
        "volts": sheet.motor.supply_v * chance.uniform(0.96, 1.04),
        "resistance_ohm": chance.uniform(0.05, 0.4),
    }
    plant["wiring"] = {**plant["wiring"], "motor_swapped": swapped}
    plant["home"]["width_deg"] = chance.uniform(1.5, 3.6)
    motor["thermal_k_per_w"] = (sheet.motor.thermal_k_per_w or 8.0) * chance.uniform(0.7, 1.3)
    motor["thermal_time_s"] = (sheet.motor.thermal_time_s or 600.0) * chance.uniform(0.3, 1.0)
    return sheet, Plant.model_validate(plant)


def friction_nm(plant: Plant, cosine: float, way: int) -> float:
    """What opposes the motor's shaft while it turns slowly that way, by the mechanics of the simulator."""
    f, g = plant.load.friction_nm, plant.load.gravity_nm * cosine
    ratio, share = plant.gear.ratio, plant.gear.efficiency
    mesh = f + g if way > 0 else f - g
    return plant.motor.coulomb_nm + (mesh / (ratio * share) if mesh > 0 else mesh * share / ratio)


def magnet_table(edges: list[float], first_cell: int) -> np.ndarray:
    """The true offsets of the edges in counts, mean 0, from the edge below the raw count 0 on."""
    size = len(edges)
    off = np.asarray(edges) * size - np.arange(size)
    table = np.array([off[(k + first_cell) % size] for k in range(size)])
    return table - table.mean()


def loaded_inertia(plant: Plant) -> float:
    """All inertia at the motor's shaft, the motor driving: a start is quicker than any weight falls, so it does both ways."""
    return plant.motor.rotor_inertia_kg_m2 + plant.load.inertia_kg_m2 / (plant.gear.ratio**2 * plant.gear.efficiency)


def counts_of(plant: Plant, deg: float) -> float:
    """Counts in so many degrees of the output."""
    return deg / 360 * plant.gear.ratio * 4 * plant.disc.marks
