"""The report: as designed, as built, what was measured with its uncertainty, and plots. Pure."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable
from datetime import datetime

from pydantic import Field

from geartender.bench.health.verdicts import HealthReport
from geartender.bench.models import BenchRun, Plot
from geartender.build import BuildSheet, figures
from geartender.build.drive import Drive
from geartender.build.measured import Measured, as_built
from geartender.build.motor import motor_constants, rotor_inertia_kg_m2
from geartender.build.train import backlash_deg
from geartender.caution import CAUTION
from geartender.servo.models import Shown

NAMES = {
    "ke_v_s": ("Motor constant", "V·s/rad"),
    "winding_ohm": ("Winding resistance", "Ω"),
    "rotor_inertia_kg_m2": ("Inertia of the rotor", "kg·m²"),
    "inertia_kg_m2": ("Inertia of all, at the motor", "kg·m²"),
    "time_constant_s": ("Mechanical time constant", "s"),
    "friction_nm": ("Running friction, at the motor", "N·m"),
    "friction_up_nm": ("Running friction up, at the motor", "N·m"),
    "friction_down_nm": ("Running friction down, at the motor", "N·m"),
    "viscous_nm_s": ("Friction that grows with speed", "N·m·s/rad"),
    "breakaway_nm": ("Break-away torque, at the motor", "N·m"),
    "backlash_deg": ("Backlash at the output", "°"),
    "backlash_counts": ("Backlash", "counts"),
    "stiffness_nm_per_deg": ("Stiffness of the train", "N·m/°"),
    "supply_v": ("Supply, unloaded", "V"),
    "supply_ohm": ("Resistance of supply and wires", "Ω"),
    "home_width_deg": ("Width of the home mark", "°"),
    "home_repeat_deg": ("Home repeats within, one standard deviation", "°"),
    "train_efficiency": ("Efficiency of the train, driving the load", ""),
    "back_efficiency": ("Efficiency of the train, driven by the load", ""),
    "winding_rise_k": ("Warming of the winding while it pressed", "K"),
    "thermal_k_per_w": ("Warming of the winding for a watt", "K/W"),
    "thermal_time_s": ("Time constant of its warming", "s"),
    "overload_nm": ("Overload threshold", "N·m"),
    "accuracy_deg": ("Positioning accuracy A, ISO 230-2", "°"),
    "repeatability_deg": ("Repeatability R, ISO 230-2", "°"),
    "reversal_deg": ("Reversal error B, ISO 230-2", "°"),
}
"""What each value is called, and its unit."""

FIGURES = {
    "no_load_output_deg_s": ("No-load speed of the output", "°/s"),
    "output_stall_torque_nm": ("Stall torque of the output", "N·m"),
    "output_max_power_w": ("Greatest power", "W"),
    "seconds_per_60_deg": ("Time for 60°", "s"),
    "backlash_deg": ("Backlash", "°"),
    "suggested_overload_nm": ("Suggested overload", "N·m"),
    "continuous_torque_nm": ("Continuous torque", "N·m"),
}


class ReportRow(Shown):
    """A value, as designed and as built."""

    name: str
    title: str
    unit: str
    designed: float | None = Field(description="By the sheet; null where it says nothing.")
    built: float | None = Field(description="As measured, or as it follows from that; null where nobody has measured.")
    uncertainty: float | None = Field(default=None, description="Standard uncertainty, one sigma.")
    procedure: str | None = None
    at: datetime | None = None
    other: float | None = Field(default=None, description="The same in the version that it is compared with.")


class RawRecord(Shown):
    """A raw record behind the values."""

    procedure: str
    run: str
    name: str
    path: str = Field(description="Where it is got, as JSON or CSV.")


class Report(Shown):
    """One page about one servo."""

    servo: str
    name: str
    made_at: datetime
    version: str = Field(description="Of this software.")
    firmware: str | None
    board: str | None
    revision: int | None = Field(description="Version of the measured values.")
    versions: list[int] = Field(default_factory=list, description="All versions that it can be compared with.")
    measured_at: datetime | None
    against: int | None = Field(default=None, description="Version that it is compared with.")
    against_at: datetime | None = Field(default=None, description="When the newest value of that one was measured.")
    values: list[ReportRow]
    figures: list[ReportRow]
    plots: list[Plot]
    records: list[RawRecord] = Field(default_factory=list, description="The raw records of the runs that are shown.")
    health: HealthReport | None = Field(default=None, description="What normal moves say of wear.")
    notes: list[str]
    caution: str = CAUTION


def designed_values(sheet: BuildSheet) -> dict[str, float | None]:
    """What the sheet makes of each value that can be measured."""
    drive = Drive.of(sheet)
    motor = motor_constants(sheet.motor)
    rotor = rotor_inertia_kg_m2(sheet.motor, motor)
    load = sheet.load.inertia_kg_m2 / (drive.ratio**2 * max(drive.efficiency, 0.05))
    return {
        "ke_v_s": motor.kt_nm_per_a,
        "winding_ohm": motor.resistance_ohm,
        "rotor_inertia_kg_m2": rotor,
        "inertia_kg_m2": rotor + load,
        "time_constant_s": motor.resistance_ohm * (rotor + load) / motor.kt_nm_per_a**2,
        "friction_nm": motor.friction_nm + sheet.load.friction_nm / drive.gain,
        "backlash_deg": backlash_deg(sheet.mesh),
        "stiffness_nm_per_deg": sheet.load.stiffness_nm_per_deg,
        "supply_v": sheet.motor.supply_v,
        "supply_ohm": sheet.supply.resistance_ohm,
        "train_efficiency": drive.efficiency,
        "thermal_k_per_w": sheet.motor.thermal_k_per_w,
        "thermal_time_s": sheet.motor.thermal_time_s,
        "overload_nm": drive.overload_nm,
    }


def report(
    servo: str,
    sheet: BuildSheet,
    measured: Measured,
    revision: int | None,
    runs: Iterable[BenchRun],
    now: datetime,
    version: str,
    firmware: str | None = None,
    board: str | None = None,
    other: tuple[int, Measured] | None = None,
    health: HealthReport | None = None,
    versions: Iterable[int] = (),
) -> Report:
    """Put the page together. `runs` are the newest first; their plots are shown. `other` is a version to compare with."""
    shown: list[str] = []
    plots: list[Plot] = []
    records: list[RawRecord] = []
    for run in runs:
        if run.procedure not in shown and run.state == "done":
            shown.append(run.procedure)
            plots += [plot for step in run.steps for plot in step.plots]
            records += [_record(run, name) for step in run.steps for name in step.records]
    return Report(
        servo=servo,
        name=sheet.name or servo,
        made_at=now,
        version=version,
        firmware=firmware,
        board=board,
        revision=revision,
        versions=list(versions),
        measured_at=_newest(measured),
        against=other[0] if other else None,
        against_at=_newest(other[1]) if other else None,
        values=_values(sheet, measured, other[1] if other else None),
        figures=_figures(sheet, measured, other[1] if other else None),
        plots=plots,
        records=records,
        health=health,
        notes=_notes(sheet, measured),
    )


def _record(run: BenchRun, name: str) -> RawRecord:
    path = f"/api/v1/bench/runs/{run.id}/records/{name}"
    return RawRecord(procedure=run.procedure, run=run.id, name=name, path=path)


def _newest(measured: Measured) -> datetime | None:
    return max((one.at for one in measured.values.values() if one.at is not None), default=None)


def _values(sheet: BuildSheet, measured: Measured, other: Measured | None) -> list[ReportRow]:
    designed = designed_values(sheet)
    rows = []
    for name, (title, unit) in NAMES.items():
        found = measured.values.get(name)
        if found is None and designed.get(name) is None:
            continue
        rows.append(
            ReportRow(
                name=name,
                title=title,
                unit=unit,
                designed=designed.get(name),
                built=found.value if found else None,
                uncertainty=found.uncertainty if found else None,
                procedure=found.procedure if found else None,
                at=found.at if found else None,
                other=other.value(name) if other else None,
            )
        )
    return rows


def _figures(sheet: BuildSheet, measured: Measured, other: Measured | None) -> list[ReportRow]:
    designed, built = figures(sheet), figures(as_built(sheet, measured))
    compared = figures(as_built(sheet, other)) if other else None
    return [
        ReportRow(
            name=name,
            title=title,
            unit=unit,
            designed=getattr(designed, name),
            built=getattr(built, name),
            other=getattr(compared, name) if compared else None,
        )
        for name, (title, unit) in FIGURES.items()
    ]


def _notes(sheet: BuildSheet, measured: Measured) -> list[str]:
    notes = [
        "Uncertainties are standard uncertainties: about two thirds of such values lie within one, 95 % within two."
    ]
    if "winding_ohm" not in measured.values:
        notes.append("The winding's resistance is the sheet's: torques and inertia are no better than that.")
    if measured.tuning is not None and measured.tuning.ms is not None:
        notes.append(f"The loop's largest sensitivity Ms on the identified model is {measured.tuning.ms:.2f}.")
    return [*notes, *figures(as_built(sheet, measured)).warnings]


def table(made: Report) -> str:
    """The report's values as CSV (RFC 4180)."""
    file = io.StringIO(newline="")
    writer = csv.writer(file, lineterminator="\r\n")
    writer.writerow(["name", "unit", "designed", "built", "uncertainty", "procedure", "at", "other"])
    for row in [*made.values, *made.figures]:
        cells = (
            row.designed,
            row.built,
            row.uncertainty,
            row.procedure,
            row.at.isoformat() if row.at else None,
            row.other,
        )
        writer.writerow([row.name, row.unit, *("" if cell is None else cell for cell in cells)])
    for one in made.health.trends if made.health else []:
        newest = one.points[-1][0].isoformat() if one.points else ""
        cells = (one.reference, one.now, None, "health", newest, None)
        writer.writerow([f"health_{one.name}", one.unit, *("" if cell is None else cell for cell in cells)])
    return file.getvalue()
