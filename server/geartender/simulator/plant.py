"""The plant: what the simulated servo really is, in SI units, apart from what its build sheet says."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from geartender.build.motor import motor_constants, rotor_inertia_kg_m2
from geartender.build.sheet import BuildSheet
from geartender.build.train import backlash_deg, gear_ratio, train_efficiency
from geartender.errors import PlantError
from geartender.mistakes import mistakes_from

DEFAULT_STIFFNESS_NM_PER_DEG = 20.0
"""N·m per degree: a printed train that has play but whose stiffness nobody has measured."""
LEAST_EFFICIENCY = 0.05
"""A train that the sheet makes out to be worse is simulated with this, so that its equations keep a meaning."""
STOPS_BEYOND_DEG = 4.0
"""Degrees between the travel (or the home edge) and the end stop."""
START_SHARE = 0.3
"""Where in its travel a servo stands before anybody has homed it."""
SUPPLY_OHM = 0.05
"""Ohm: a bench supply and a metre of wire."""


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", allow_inf_nan=False, frozen=True)


class MotorPlant(_Table):
    """The motor: winding, constant, rotor and its friction.

    The winding stays as cold as it began, unless a plant file gives it a `thermal_k_per_w`, whatever the sheet says.
    """

    resistance_ohm: float = Field(gt=0)
    """Cold: at the temperature of the air round it."""
    ke_v_s: float = Field(gt=0)
    rotor_inertia_kg_m2: float = Field(gt=0)
    coulomb_nm: float = Field(ge=0, default=0.0)
    viscous_nm_s: float = Field(ge=0, default=0.0)
    thermal_k_per_w: float = Field(ge=0, default=0.0)
    thermal_time_s: float = Field(gt=0, default=600.0)


class GearPlant(_Table):
    """The train, seen from the output. Without stiffness and play it is rigid."""

    ratio: float = Field(gt=0)
    efficiency: float = Field(gt=0, le=1, default=1.0)
    backlash_deg: float = Field(ge=0, lt=90, default=0.0)
    stiffness_nm_per_deg: float = Field(ge=0, default=0.0)


class LoadPlant(_Table):
    """What hangs on the output. Gravity pulls down with `gravity_nm` times the cosine of the angle."""

    inertia_kg_m2: float = Field(ge=0, default=0.0)
    gravity_nm: float = 0.0
    friction_nm: float = Field(ge=0, default=0.0)


class StopsPlant(_Table):
    """End stops, hard and without bounce."""

    min_deg: float
    max_deg: float


class HomePlant(_Table):
    """The home mark. `angle_deg` is the edge that is met first in the seeking direction; the mark lies `width_deg` beyond it.

    A width of 0 is a mark that is missing.
    """

    angle_deg: float = 0.0
    width_deg: float = Field(ge=0, lt=180, default=3.0)


class DiscPlant(_Table):
    """The disc; each edge is off its place by a fixed amount, drawn once, up to `phase_error_deg` of the 360° between two marks."""

    marks: int = Field(ge=1)
    phase_error_deg: float = Field(ge=0, lt=45, default=0.0)
    missing_mark: int = Field(ge=0, default=0)
    """Number of a mark that has fallen out, from 1; 0: none has."""


class SupplyPlant(_Table):
    """The supply behind its own and the wires' resistance."""

    volts: float = Field(gt=0)
    resistance_ohm: float = Field(ge=0, default=0.0)


class WiringPlant(_Table):
    """What is wired wrong, or broken. A dead sensor's pin stands at one level for ever."""

    motor_swapped: bool = False
    motor_open: bool = False
    disc_swapped: bool = False
    disc_a: Literal["good", "low", "high"] = "good"
    disc_b: Literal["good", "low", "high"] = "good"
    home: Literal["good", "never", "always", "inverted"] = "good"
    """What the board takes for the mark."""


class Plant(_Table):
    """Everything that the mechanics need."""

    motor: MotorPlant
    gear: GearPlant
    load: LoadPlant = LoadPlant()
    stops: StopsPlant | None = None
    home: HomePlant = HomePlant()
    disc: DiscPlant
    supply: SupplyPlant
    wiring: WiringPlant = WiringPlant()
    start_deg: float = 0.0


def load_plant(path: Path, sheet: BuildSheet) -> Plant:
    """Read a plant file (TOML); tables it leaves out are as the build sheet implies. Raises PlantError with a line per mistake."""
    try:
        given = tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise PlantError([f"{path}: {error}. Give a TOML file of plant tables."]) from error
    implied = plant_of(sheet).model_dump(exclude_none=True)
    merged = dict(implied)
    for name, value in given.items():
        base = implied.get(name)
        merged[name] = {**base, **value} if isinstance(base, dict) and isinstance(value, dict) else value
    try:
        return Plant.model_validate(merged)
    except ValidationError as error:
        raise PlantError(f"{path}: {mistake}" for mistake in mistakes_from(error.errors())) from error


def plant_of(sheet: BuildSheet) -> Plant:
    """The plant that a sheet describes, were every word of it true."""
    constants = motor_constants(sheet.motor)
    load = sheet.load
    stiffness = load.stiffness_nm_per_deg or 0.0
    return Plant(
        motor=MotorPlant(
            resistance_ohm=constants.resistance_ohm,
            ke_v_s=constants.kt_nm_per_a,
            rotor_inertia_kg_m2=rotor_inertia_kg_m2(sheet.motor, constants),
            coulomb_nm=constants.friction_nm,
        ),
        gear=GearPlant(
            ratio=float(gear_ratio(sheet.mesh)),
            efficiency=max(train_efficiency(sheet.mesh), LEAST_EFFICIENCY),
            backlash_deg=backlash_deg(sheet.mesh) or 0.0,
            stiffness_nm_per_deg=stiffness,
        ),
        load=LoadPlant(inertia_kg_m2=load.inertia_kg_m2, gravity_nm=load.gravity_nm, friction_nm=load.friction_nm),
        stops=_stops(sheet),
        home=HomePlant() if sheet.home is None else HomePlant(angle_deg=sheet.home.angle_deg),
        disc=DiscPlant(marks=sheet.disc.marks_per_turn),
        supply=SupplyPlant(volts=sheet.motor.supply_v, resistance_ohm=SUPPLY_OHM),
        start_deg=_start_deg(sheet),
    )


def _stops(sheet: BuildSheet) -> StopsPlant | None:
    travel = sheet.travel
    if travel is None or travel.min_deg is None or travel.max_deg is None:
        return None
    edge = travel.min_deg if sheet.home is None else sheet.home.angle_deg
    return StopsPlant(
        min_deg=min(travel.min_deg, edge) - STOPS_BEYOND_DEG, max_deg=max(travel.max_deg, edge) + STOPS_BEYOND_DEG
    )


def _start_deg(sheet: BuildSheet) -> float:
    travel = sheet.travel
    if travel is None or travel.min_deg is None or travel.max_deg is None:
        return 0.0
    return travel.min_deg + START_SHARE * (travel.max_deg - travel.min_deg)
