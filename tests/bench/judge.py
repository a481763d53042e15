"""What a measured machine is held against: the plant file, and what every step announced."""

from __future__ import annotations

import math
from collections.abc import Collection
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from geartender.bench.estimators.accuracy import Positioning, positioning
from geartender.bench.procedures.measure.breakaway import EDGE_SHARE, PLACES
from geartender.bench.session import Session
from geartender.build import BuildSheet
from geartender.build.measured import Measured
from geartender.build.tables import Travel
from geartender.simulator.mechanics import Truth
from geartender.simulator.plant import Plant
from tests.bench.kit import Bench, Person
from tests.bench.plants import counts_of, friction_nm, loaded_inertia, magnet_table

WITHIN = {
    "ke_v_s": 0.05,
    "winding_ohm": 0.05,
    "friction_up_nm": 0.05,
    "friction_down_nm": 0.05,
    "inertia_kg_m2": 0.10,
}
"""Shares within which a value must be."""
BACKLASH_COUNTS = 2.0
MAGNET_SHARE = 0.02
"""Of a mark's pitch."""


def truths(sheet: BuildSheet, plant: Plant) -> dict[str, float]:
    """What the bench should find."""
    travel = sheet.travel
    assert travel is not None
    assert travel.min_deg is not None
    assert travel.max_deg is not None
    cosine = math.cos(math.radians((travel.min_deg + travel.max_deg) / 2))
    return {
        "ke_v_s": plant.motor.ke_v_s,
        "winding_ohm": plant.motor.resistance_ohm,
        "friction_up_nm": friction_nm(plant, cosine, 1),
        "friction_down_nm": friction_nm(plant, cosine, -1),
        "inertia_kg_m2": loaded_inertia(plant),
        "rotor_inertia_kg_m2": plant.motor.rotor_inertia_kg_m2,
        "backlash_counts": counts_of(plant, plant.gear.backlash_deg),
        "stiffness_nm_per_deg": plant.gear.stiffness_nm_per_deg,
        "supply_ohm": plant.supply.resistance_ohm,
        "supply_v": plant.supply.volts,
        "home_width_deg": plant.home.width_deg,
        "breakaway_nm": float(
            np.mean([friction_nm(plant, cosine, way) for cosine in _places(travel) for way in (1, -1)])
        ),
        "train_efficiency": plant.gear.efficiency,
        "back_efficiency": plant.gear.efficiency,
        "thermal_k_per_w": plant.motor.thermal_k_per_w,
        "thermal_time_s": plant.motor.thermal_time_s,
    }


def _places(travel: Travel) -> list[float]:
    """Cosines of the places at which break-away is tried."""
    low, high = travel.min_deg or 0.0, travel.max_deg or 0.0
    edge = EDGE_SHARE * (high - low)
    return [math.cos(math.radians(deg)) for deg in np.linspace(low + edge, high - edge, PLACES)]


def of_the_lever(person: Person) -> Positioning:
    """Accuracy of the lever itself over the stops at which its gauge was read, by the truth."""
    rows: dict[tuple[str, float], list[float]] = {}
    for question, deg in person.true_deg:
        _, _, way, at = question.split("-", maxsplit=3)
        rows.setdefault((way, float(at)), []).append(deg - float(at))
    up, down = (np.array([rows[one] for one in sorted(rows) if one[0] == way]) for way in ("up", "down"))
    return positioning(up, down)


def seen_by(person: Person) -> dict[str, float]:
    """What the bench should find from what a person read, by the truth of that moment."""
    seen = {}
    if person.true_deg:
        lever = of_the_lever(person)
        seen = {
            "accuracy_deg": lever.accuracy,
            "repeatability_deg": lever.repeatability,
            "reversal_deg": lever.reversal,
        }
    if len(person.true_rise_k) > 1:
        seen["winding_rise_k"] = person.true_rise_k[1]
    return seen


@dataclass
class Judged:
    """One machine: by value, how far off it is (a share, or counts), whether it is within, and how many uncertainties that is."""

    off: dict[str, float] = field(default_factory=dict)
    within: dict[str, bool] = field(default_factory=dict)
    sigmas: dict[str, float] = field(default_factory=dict)


def judge(
    bench: Bench, sheet: BuildSheet, plant: Plant, measured: Measured, wanted: Collection[str] = WITHIN
) -> Judged:
    """Hold what was found against the plant; what is wanted and was not found is not within."""
    judged = Judged()
    for name, truth in (truths(sheet, plant) | seen_by(bench.person)).items():
        found = measured.values.get(name)
        if found is None:
            if name in wanted:
                judged.within[name] = False
            continue
        judged.sigmas[name] = (found.value - truth) / max(found.uncertainty, 1e-12)
        judged.off[name] = found.value / truth - 1 if truth else found.value
        if name in WITHIN:
            judged.within[name] = abs(judged.off[name]) <= WITHIN[name]
        if name == "backlash_counts":
            judged.off[name] = found.value - truth
            judged.within[name] = abs(found.value - truth) <= BACKLASH_COUNTS
    if not measured.magnets:
        if wanted:
            judged.within["magnets"] = False
        return judged
    body = bench.rig.sim.mechanics
    table = magnet_table(body._edges, body._first_counts)
    judged.off["magnets"] = float(np.abs(np.asarray(measured.magnets) - table).max()) / 4
    judged.within["magnets"] = judged.off["magnets"] <= MAGNET_SHARE
    return judged


class Kept:
    """Watches the truth of every step: how far, how hard and how long, against what it announced."""

    def __init__(self) -> None:
        self.session: Session | None = None
        self.broken: list[str] = []
        self._step: Any = None
        self._from = self._drove = self._hard = 0.0

    def __call__(self, truth: Truth) -> None:
        steps = self.session.report.steps if self.session is not None else []
        step = steps[-1] if steps else None
        if step is None or step.announcement is None:
            return
        if step is not self._step:
            self._step, self._from, self._drove, self._hard = step, truth.output_deg, 0.0, 0.0
        said = step.announcement
        if not said.torque_nm and not truth.duty:
            return  # a hand moves it
        if abs(truth.output_deg - self._from) > said.moves_deg:
            self._note(f"{step.id}: moved {abs(truth.output_deg - self._from):.1f}°, announced {said.moves_deg:.1f}°")
        self._hard = self._hard + 0.01 if abs(truth.output_nm) > said.torque_nm else 0.0
        if self._hard > HARD_S:
            self._note(f"{step.id}: {abs(truth.output_nm):.2f} N·m for {HARD_S} s, announced {said.torque_nm:.2f}")
        self._drove += 0.01 if truth.duty else 0.0
        if self._drove > said.time_s:
            self._note(f"{step.id}: drove for longer than {said.time_s:.0f} s")

    def _note(self, text: str) -> None:
        if not self.broken or self.broken[-1].split(":")[0] != text.split(":", maxsplit=1)[0]:
            self.broken.append(text)


HARD_S = 0.05
"""s for which a torque must last to count: the ring of a train whose flanks meet is shorter."""
