"""Whatever sheet is accepted has figures: never a traceback, never a number that JSON cannot hold."""

import json
import random
from collections.abc import Iterator
from functools import reduce
from operator import getitem
from typing import Any

import pytest

from geartender.build import BuildSheet, build_document, figures, load_build, parse_build
from geartender.cli.wall_page import wall_page
from geartender.errors import BuildSheetError
from tests.build.test_files import EXAMPLE

SHEETS, CHANGES = 200, 25
WORM = {
    "kind": "worm",
    "starts": 1,
    "driven_teeth": 40,
    "lead_angle_deg": 5,
    "module_mm": 1.5,
    "face_mm": 12,
    "allowable_mpa": 20,
}
MORE = {
    "pulse": {"enabled": True},
    "input": {"sensor_high_v": 5.0, "series_ohm": 3000, "clamp_v": 3.0, "capacitor_f": 1e-9},
    "supply": {
        "kind": "battery",
        "capacity_ah": 12,
        "peukert_exponent": 1.2,
        "standby_w": 1,
        "resistance_ohm": 0.1,
        "highest_v": 14,
    },
}


def numbers(document: Any, place: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """The places of all numbers in a document."""
    items = document.items() if isinstance(document, dict) else enumerate(document)
    for key, value in items:
        if isinstance(value, dict | list):
            yield from numbers(value, (*place, key))
        elif isinstance(value, int | float) and not isinstance(value, bool):
            yield (*place, key)


def changed(document: Any, place: tuple[Any, ...], rng: random.Random) -> Any:
    """The same document with one number far larger, far smaller, zero or left out."""
    copy = json.loads(json.dumps(document))
    *way, last = place
    table = reduce(getitem, way, copy)
    before = table[last]
    table[last] = rng.choice(
        [0, 5e-324, 2e-15, before * 10, before * 1000, before // 10 if isinstance(before, int) else before / 1000, None]
    )
    if table[last] is None:
        del table[last]
    return copy


def strange(seed: int) -> BuildSheet:
    """A sheet that is accepted and has many strange numbers."""
    rng = random.Random(seed)
    document = build_document(load_build(EXAMPLE)) | MORE
    document["mesh"] = rng.sample([*document["mesh"], WORM], rng.randint(1, 5))
    sheet = parse_build(document)
    for _ in range(CHANGES):
        other = changed(document, rng.choice(list(numbers(document))), rng)
        try:
            sheet, document = parse_build(other), other
        except BuildSheetError:
            continue
    return sheet


@pytest.mark.parametrize("seed", range(0, SHEETS, 50))
def test_every_accepted_sheet_has_figures_that_json_can_hold(seed: int) -> None:
    for each in range(seed, seed + 50):
        found = figures(strange(each)).model_dump(mode="json")
        json.dumps(found, allow_nan=False)
        page = wall_page(["It"], [found])
        assert "nan" not in page
        assert "inf" not in page
