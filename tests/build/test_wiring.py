"""The wiring of a sheet: every pin in use, once, with its parts, in the table and in the drawing."""

import xml.etree.ElementTree as ET
from typing import Any

import pytest

from geartender.build import BuildSheet, parse_build
from geartender.build.wiring import PULL_DOWN, ohms, wiring
from geartender.build.wiring_drawing import drawing
from geartender.caution import CAUTION
from tests.build.test_mistakes import changed

ALL = {
    "pulse.enabled": True,
    "display": {"kind": "ssd1306"},
    "pins.tx": 0,
    "pins.rx": 1,
    "input": {"sensor_high_v": 5.0, "series_ohm": 3000, "clamp_v": 3.0},
}


def built(**changes: Any) -> BuildSheet:
    return parse_build(changed(changes))


def test_every_pin_in_use_is_wired_once() -> None:
    sheet = parse_build(changed(ALL))
    used = [wire.gpio for wire in wiring(sheet).connections]
    assert sorted(used) == sorted(set(sheet.pins.model_dump().values()))


def test_what_is_not_fitted_is_not_wired() -> None:
    parts = {wire.part for wire in wiring(built()).connections}
    assert parts == {"Disc sensor A", "Disc sensor B", "Home sensor", "H-bridge", "Supply"}


def test_what_drives_the_bridge_is_pulled_down() -> None:
    for inputs, terminals in (("two_pwm", ["input for up", "input for down"]), ("pwm_direction", ["PWM", "direction"])):
        wires = [wire for wire in wiring(built(**{"bridge.inputs": inputs})).connections if wire.side == "bridge"]
        assert [wire.terminal for wire in wires] == [*terminals, "enable"]
        assert all(wire.parts == [PULL_DOWN] for wire in wires)


@pytest.mark.parametrize(
    ("circuit", "parts"),
    [
        ({"series_ohm": 3000, "clamp_v": 3.0}, ["3 kΩ in series", "Zener 3 V to ground"]),
        ({"series_ohm": 10_000, "divider_ohm": 3300}, ["10 kΩ in series", "3.3 kΩ to ground"]),
        ({"series_ohm": 470, "capacitor_f": 1e-8}, ["470 Ω in series", "10 nF to ground"]),
        ({}, []),
    ],
)
def test_the_sensors_have_the_sheets_own_circuit(circuit: dict[str, float], parts: list[str]) -> None:
    wires = wiring(built(input={"sensor_high_v": 5.0, **circuit})).connections
    assert [wire.parts for wire in wires if wire.side == "sensors"] == [parts] * 3


def test_the_supplys_divider_has_the_sheets_ratio() -> None:
    (wire,) = [wire for wire in wiring(built(**{"supply.pin_ratio": 5.7})).connections if wire.side == "supply"]
    assert wire.parts[:2] == ["47 kΩ in series", "10 kΩ to ground"]


@pytest.mark.parametrize(("limit", "fuse"), [(0.9, "1 A"), (1.0, "1 A"), (100.0, "1.6 A")])
def test_the_fuse_is_the_next_above_what_the_wires_carry(limit: float, fuse: str) -> None:
    power = wiring(built(**{"bridge.current_limit_a": limit})).power
    assert f"a slow fuse of {fuse}," in power[0]
    assert "emergency stop" in power[0]


def test_the_caution_is_there() -> None:
    assert wiring(built()).cautions[0] == CAUTION


def test_the_drawing_names_every_part_terminal_and_pin() -> None:
    plan = wiring(parse_build(changed(ALL)))
    root = ET.fromstring(drawing(plan, "Vent & <door>"))  # noqa: S314 - our own text
    texts = [element.text for element in root.iter("{http://www.w3.org/2000/svg}text")]
    assert "Vent & <door>" in texts
    for wire in plan.connections:
        assert {wire.part, wire.terminal, f"GPIO {wire.gpio}", *wire.parts[:2]} <= set(texts)
    assert root.get("style") is None


@pytest.mark.parametrize(("value", "text"), [(470, "470 Ω"), (4700, "4.7 kΩ"), (1e6, "1 MΩ"), (0, "0 Ω")])
def test_resistances_are_written_as_on_a_drawing(value: float, text: str) -> None:
    assert ohms(value) == text
