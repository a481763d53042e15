"""Planted mistakes: what is wired, built or written wrong, and the name that the bench must give it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, NamedTuple

from geartender.build import BuildSheet, build_document, parse_build
from geartender.simulator.plant import Plant
from tests.bench.plants import machine


class Mistake(NamedTuple):
    """A mistake: what it does to a machine, or to its sheet."""

    name: str
    plant: dict[str, dict[str, Any]]
    sheet: Callable[[dict[str, Any]], None] = lambda _: None


def _marks(document: dict[str, Any]) -> None:
    document["disc"]["marks_per_turn"] = round(document["disc"]["marks_per_turn"] * 1.5)


def _teeth(document: dict[str, Any]) -> None:
    document["mesh"][-1]["driven_teeth"] = round(document["mesh"][-1]["driven_teeth"] * 1.3)


MISTAKES = (
    Mistake("motor-swapped", {"wiring": {"motor_swapped": True}}),
    Mistake("disc-swapped", {"wiring": {"disc_swapped": True}}),
    Mistake("both-swapped", {"wiring": {"motor_swapped": True, "disc_swapped": True}}),
    Mistake("no-drive", {"wiring": {"motor_open": True}}),
    Mistake("sensor-a-dead", {"wiring": {"disc_a": "low"}}),
    Mistake("sensor-b-dead", {"wiring": {"disc_b": "high"}}),
    Mistake("home-never", {"wiring": {"home": "never"}}),
    Mistake("home-always", {"wiring": {"home": "always"}}),
    Mistake("home-inverted", {"wiring": {"home": "inverted"}}),
    Mistake("mark-missing", {"disc": {"missing_mark": 2}}),
    Mistake("marks-wrong", {}, _marks),
    Mistake("ratio-wrong", {}, _teeth),
    Mistake("supply", {"supply": {"volts": 0.7}}),
    Mistake("counts-lost", {}),
)
DROP = 0.02
"""Share of the edges that weak sensors lose."""


def planted(mistake: Mistake, seed: int) -> tuple[BuildSheet, Plant, float]:
    """A machine with one mistake: its sheet, the plant, and the share of edges that it loses."""
    sheet, plant = machine(seed)
    document = build_document(sheet)
    mistake.sheet(document)
    body = plant.model_dump()
    for table, fields in mistake.plant.items():
        body[table] = {**body[table], **fields}
    if mistake.name == "supply":
        body["supply"]["volts"] = 0.7 * sheet.motor.supply_v
    return parse_build(document), Plant.model_validate(body), DROP if mistake.name == "counts-lost" else 0.0
