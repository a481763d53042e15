"""Trains found the slow way: try everything, and ask the figures' own modules about each. What the search is held against."""

from __future__ import annotations

import math
from collections.abc import Iterator
from itertools import product

from geartender.build import BuildSheet
from geartender.build.motor import motor_constants
from geartender.build.strength import mesh_loads
from geartender.build.tables import SpurMesh
from geartender.build.tooth import velocity_factor
from geartender.build.train import gear_ratio, train_efficiency
from geartender.build.trains import TrainRequest

Row = tuple[tuple[int, int, float], ...]
"""A train from the motor to the output: driver teeth, driven teeth, module in mm."""


def all_trains(sheet: BuildSheet, request: TrainRequest) -> list[Row]:
    """Every train within the ranges, in the order of the ranking. The request must say everything."""
    found = []
    teeth = range(request.fewest_teeth, request.most_teeth + 1)
    for meshes in range(1, request.most_meshes + 1):
        for wheels in product(product(teeth, repeat=2), repeat=meshes):
            row = _with_modules(sheet, request, wheels)
            if row is not None:
                found.append(row)
    return sorted(found, key=_rank)


def _rank(row: Row) -> tuple[int, float, tuple[tuple[int, int], ...]]:
    size = round(sum(module * (driver + driven) for driver, driven, module in row), 9)
    return len(row), size, tuple((driver, driven) for driver, driven, _ in reversed(row))


def _with_modules(sheet: BuildSheet, request: TrainRequest, wheels: tuple[tuple[int, int], ...]) -> Row | None:
    plain = [_mesh(request, driver, driven, 1.0) for driver, driven in wheels]
    if not _reached(sheet, request, plain):
        return None
    row = []
    for place in range(len(wheels)):
        module = next(_bearing(request, plain, place), None)
        if module is None:
            return None
        row.append((*wheels[place], module))
    return tuple(row)


def _reached(sheet: BuildSheet, request: TrainRequest, meshes: list[SpurMesh]) -> bool:
    motor, ratio = motor_constants(sheet.motor), float(gear_ratio(meshes))
    current = motor.current_a(request.torque_nm / (ratio * train_efficiency(meshes)))
    volts = motor.volts(math.radians(request.speed_deg_s) * ratio, current)
    limit = sheet.bridge.current_limit_a
    return volts <= sheet.bridge.max_duty * motor.supply_v and (limit is None or current <= limit)


def _bearing(request: TrainRequest, plain: list[SpurMesh], place: int) -> Iterator[float]:
    """The modules that bear in a place and fit the bed, from the smallest on."""
    motor_rad_s = math.radians(request.speed_deg_s) * float(gear_ratio(plain))
    for module in sorted(request.modules_mm or ()):
        driver, driven = plain[place].driver_teeth, plain[place].driven_teeth
        meshes = [*plain[:place], _mesh(request, driver, driven, module), *plain[place + 1 :]]
        load = mesh_loads(meshes)[place]
        limit = load.limit_nm(velocity_factor(load.pitch_line_m_s(motor_rad_s) or 0.0))
        fits = request.bed_mm is None or module * (max(driver, driven) + 2) <= request.bed_mm
        if fits and limit is not None and limit >= request.torque_nm:
            yield module


def _mesh(request: TrainRequest, driver: int, driven: int, module: float) -> SpurMesh:
    return SpurMesh(
        kind="spur",
        driver_teeth=driver,
        driven_teeth=driven,
        module_mm=module,
        face_mm=request.face_mm or request.face_modules * module,
        allowable_mpa=request.allowable_mpa,
        efficiency=request.efficiency,
    )
