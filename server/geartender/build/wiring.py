"""How a build is wired: every connection of the microcontroller by the sheet, with the parts in between and why they are there.

Part values that no field of the sheet gives are common practice, no source. Where the sheet's own circuit is known it is named.
"""

from collections.abc import Iterator
from typing import Literal

from pydantic import BaseModel, ConfigDict

from geartender.build.drive import Drive
from geartender.build.figure_groups import highest_v
from geartender.build.sheet import BuildSheet
from geartender.build.tables import Input
from geartender.caution import CAUTION

# Fuses come in these currents, in A: the R 10 series of preferred numbers, from memory.
FUSES_A = (0.5, 0.63, 0.8, 1.0, 1.25, 1.6, 2.0, 2.5, 3.15, 4.0, 5.0, 6.3, 8.0, 10.0, 12.5, 16.0, 20.0, 25.0, 31.5)
# Lower resistor of the divider before the supply's analog pin, in kΩ; the upper follows from the ratio.
LOWER_KOHM = 10.0
PULL_DOWN = "10 kΩ to ground"

Side = Literal["sensors", "bridge", "input", "display", "host", "supply"]


class Connection(BaseModel):
    """One wire between the microcontroller and a part."""

    model_config = ConfigDict(frozen=True)

    side: Side
    part: str
    terminal: str
    gpio: int
    direction: Literal["in", "out", "both"]
    parts: list[str]
    """What stands in the wire, or from it to ground or supply, beginning at the part."""
    why: str


class Wiring(BaseModel):
    """All that is to be wired, and what to beware of."""

    model_config = ConfigDict(frozen=True)

    connections: list[Connection]
    power: list[str]
    """The wires that carry the motor's current, from the supply on."""
    grounds: list[str]
    cautions: list[str]


def wiring(sheet: BuildSheet) -> Wiring:
    """What to wire for a sheet."""
    return Wiring(
        connections=[*_sensors(sheet), *_bridge(sheet), *_rest(sheet)],
        power=_power(sheet),
        grounds=[
            "The grounds of supply, bridge, microcontroller and sensors meet at one place: the bridge's ground.",
            "The motor's current must not pass through the ground wire of a sensor or of the microcontroller.",
        ],
        cautions=[
            CAUTION,
            "Wire with the supply off. Before the motor is connected, measure every sensor at its pin, low and high.",
            "The ring of a Zener diode goes to the pin, not to ground.",
            "Twist the sensor wires and keep them away from the motor's.",
        ],
    )


def _sensors(sheet: BuildSheet) -> Iterator[Connection]:
    circuit = _circuit(sheet.input)
    pins = sheet.pins
    for part, gpio, why in (
        ("Disc sensor A", pins.disc_a, "The counter reads two neighbouring pins; swapped sensors count backwards."),
        ("Disc sensor B", pins.disc_b, "A quarter of a mark from sensor A."),
        ("Home sensor", pins.home, "On the output, where the mark passes."),
    ):
        yield Connection(
            side="sensors", part=part, terminal="output", gpio=gpio, direction="in", parts=circuit, why=why
        )


def _circuit(circuit: Input | None) -> list[str]:
    """The parts between a sensor and its pin."""
    if circuit is None:
        return ["as the sensor needs it: the sheet has no [input]"]
    parts = [f"{ohms(circuit.series_ohm)} in series"] if circuit.series_ohm else []
    if circuit.clamp_v is not None:
        parts.append(f"Zener {circuit.clamp_v:g} V to ground")
    if circuit.divider_ohm is not None:
        parts.append(f"{ohms(circuit.divider_ohm)} to ground")
    if circuit.capacitor_f is not None:
        parts.append(f"{circuit.capacitor_f * 1e9:g} nF to ground")
    return parts


def _bridge(sheet: BuildSheet) -> Iterator[Connection]:
    pins = sheet.pins
    plain = sheet.bridge.inputs == "pwm_direction"
    names = ("PWM", "direction") if plain else ("input for up", "input for down")
    off = "Keeps the bridge off while the microcontroller starts."
    for terminal, gpio in zip(names, (pins.pwm_a, pins.pwm_b), strict=True):
        yield Connection(
            side="bridge", part="H-bridge", terminal=terminal, gpio=gpio, direction="out", parts=[PULL_DOWN], why=off
        )
    if pins.enable is not None:
        yield Connection(
            side="bridge",
            part="H-bridge",
            terminal="enable",
            gpio=pins.enable,
            direction="out",
            parts=[PULL_DOWN],
            why=off,
        )


def _rest(sheet: BuildSheet) -> Iterator[Connection]:
    pins = sheet.pins
    if pins.supply is not None:
        upper = (sheet.supply.pin_ratio - 1) * LOWER_KOHM
        parts = [f"{upper:g} kΩ in series", f"{LOWER_KOHM:g} kΩ to ground", "100 nF to ground"]
        yield Connection(
            side="supply",
            part="Supply",
            terminal="plus, behind the fuse",
            gpio=pins.supply,
            direction="in",
            parts=parts,
            why=f"The pin sees {highest_v(sheet) / sheet.supply.pin_ratio:.3g} V at the most.",
        )
    if sheet.pulse and sheet.pulse.enabled:
        why = "For pulses of 3.3 V; a 5 V receiver needs a divider, 1.8 kΩ in series and 3.3 kΩ to ground."
        yield Connection(
            side="input",
            part="RC receiver",
            terminal="signal",
            gpio=pins.pulse,
            direction="in",
            parts=["1 kΩ in series"],
            why=why,
        )
    if sheet.display.kind != "none":
        for terminal, gpio in (("SDA", pins.sda), ("SCL", pins.scl)):
            yield Connection(
                side="display",
                part="Display",
                terminal=terminal,
                gpio=gpio,
                direction="both",
                parts=["4.7 kΩ to 3.3 V"],
                why="Most displays have these resistors: then leave them out.",
            )
    if pins.tx is not None and pins.rx is not None:
        yield Connection(
            side="host", part="Host", terminal="RX", gpio=pins.tx, direction="out", parts=[], why="3.3 V, crossed over."
        )
        yield Connection(
            side="host", part="Host", terminal="TX", gpio=pins.rx, direction="in", parts=[], why="3.3 V, crossed over."
        )


def _power(sheet: BuildSheet) -> list[str]:
    drive = Drive.of(sheet)
    current = drive.motor.stall_current_a * highest_v(sheet) / sheet.motor.supply_v
    if sheet.bridge.current_limit_a is not None:
        current = min(current, sheet.bridge.current_limit_a)
    fuse = next((each for each in FUSES_A if each >= current), None)
    rating = f"a slow fuse of {fuse:g} A" if fuse else f"a fuse for {current:.3g} A"
    return [
        f"Supply plus, {rating}, a hardware emergency stop that takes motor power away, bridge plus.",
        f"The wires up to the motor carry up to {current:.3g} A.",
        "Bridge outputs to the motor, 100 nF across its terminals. If it runs the wrong way, swap these two.",
        "470 µF or more from bridge plus to bridge ground, close to the bridge.",
    ]


def ohms(value: float) -> str:
    """A resistance as it is written on a drawing: 470 Ω, 4.7 kΩ, 1 MΩ."""
    for limit, scale, unit in ((1e6, 1e6, "MΩ"), (1e3, 1e3, "kΩ")):
        if value >= limit:
            return f"{value / scale:g} {unit}"
    return f"{value:g} Ω"
