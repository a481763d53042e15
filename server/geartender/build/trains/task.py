"""A request and a sheet as one task: every default filled in, and which ratios the motor can do it with."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction

from geartender.build.motor import MotorConstants, motor_constants
from geartender.build.sheet import BuildSheet
from geartender.build.tables import SpurMesh
from geartender.build.train import ASSUMED_SPUR_EFFICIENCY
from geartender.build.trains.request import TrainRequest
from geartender.errors import BuildSheetError, Mistake

# Modules in mm for a sheet that names none: the first series of ISO 54 from the finest that prints well (from memory).
COMMON_MODULES_MM = (0.5, 0.8, 1.0, 1.25, 1.5, 2.0, 2.5, 3.0)
# Kept free below each limit, as a share, so that rounding in another order of the same sums never crosses it.
SPARE = 1e-9
# Kept free by the range of ratios: a little less, so that rounding leaves none out that has SPARE to spare.
SPARE_OF_RANGE = 0.999 * SPARE


@dataclass(frozen=True, slots=True)
class Task:
    """What is searched for, in SI units except where a name says otherwise."""

    motor: MotorConstants
    max_duty: float
    max_current_a: float
    speed_rad_s: float
    torque_nm: float
    fewest_teeth: int
    most_teeth: int
    most_meshes: int
    modules_mm: tuple[float, ...]
    """From the smallest to the largest, none twice."""
    face_modules: float
    face_mm: float | None
    allowable_mpa: float
    efficiency: float
    bed_mm: float
    most: int

    @classmethod
    def of(cls, sheet: BuildSheet, request: TrainRequest) -> Task:
        """The task of a request. Raises BuildSheetError where neither it nor the sheet says what the teeth bear."""
        limit = sheet.bridge.current_limit_a
        return cls(
            motor=motor_constants(sheet.motor),
            max_duty=sheet.bridge.max_duty,
            max_current_a=math.inf if limit is None else limit,
            speed_rad_s=math.radians(request.speed_deg_s),
            torque_nm=request.torque_nm,
            fewest_teeth=request.fewest_teeth,
            most_teeth=request.most_teeth,
            most_meshes=request.most_meshes,
            modules_mm=tuple(sorted(set(request.modules_mm or _modules(sheet)))),
            face_modules=request.face_modules,
            face_mm=request.face_mm,
            allowable_mpa=request.allowable_mpa or _allowable(sheet),
            efficiency=request.efficiency or ASSUMED_SPUR_EFFICIENCY,
            bed_mm=math.inf if request.bed_mm is None else request.bed_mm,
            most=request.most,
        )

    @property
    def highest_step(self) -> float:
        """Ratio of the mesh that reduces most."""
        return self.most_teeth / self.fewest_teeth

    def face_of(self, module_mm: float) -> float:
        """Width of the teeth of a module, in mm."""
        return self.face_modules * module_mm if self.face_mm is None else self.face_mm

    def modules_in_steps(self) -> list[int]:
        """The modules as whole multiples of the largest step that measures them all exactly, as they are written."""
        exact = [Fraction(str(module)) for module in self.modules_mm]
        step = math.lcm(*(each.denominator for each in exact))
        return [int(each * step) for each in exact]

    def reaches(self, ratio: float, meshes: int) -> bool:
        """Whether the motor gives speed and torque at once through so many meshes of that ratio in all, with SPARE to spare."""
        current = self.motor.current_a(self.torque_nm / (ratio * self.efficiency**meshes))
        duty = self.motor.volts(self.speed_rad_s * ratio, current) / self.motor.supply_v
        return current * (1 + SPARE) <= self.max_current_a and duty * (1 + SPARE) <= self.max_duty

    def ratios(self, meshes: int) -> tuple[float, float] | None:
        """The ratios that so many meshes may have in all, hardly wider than `reaches` accepts; None where there is none.

        At a ratio i the motor turns at w·i and gives T/(i·η^n): Ke·w·i + R·(I0 + T/(Kt·i·η^n)) = duty·U, a quadratic in i.
        """
        motor, at_motor = self.motor, self.torque_nm / self.efficiency**meshes
        spare_a = self.max_current_a / (1 + SPARE_OF_RANGE) - motor.no_load_current_a
        volts = self.max_duty / (1 + SPARE_OF_RANGE) * motor.supply_v - motor.no_load_current_a * motor.resistance_ohm
        square = volts**2 - 4 * self.speed_rad_s * at_motor * motor.resistance_ohm
        if spare_a <= 0.0 or volts <= 0.0 or square < 0.0:
            return None
        high = (volts + math.sqrt(square)) / (2 * motor.kt_nm_per_a * self.speed_rad_s)
        low = at_motor * motor.resistance_ohm / (motor.kt_nm_per_a**2 * self.speed_rad_s * high)
        low = max(low, at_motor / (motor.kt_nm_per_a * spare_a))
        return (low, high) if low <= high else None


def _spurs(sheet: BuildSheet) -> Iterable[SpurMesh]:
    return (mesh for mesh in sheet.mesh if isinstance(mesh, SpurMesh))


def _modules(sheet: BuildSheet) -> Iterable[float]:
    return [mesh.module_mm for mesh in _spurs(sheet) if mesh.module_mm is not None] or COMMON_MODULES_MM


def _allowable(sheet: BuildSheet) -> float:
    given = [mesh.allowable_mpa for mesh in _spurs(sheet) if mesh.allowable_mpa is not None]
    if not given:
        text = "is missing, and no spur gear of the sheet gives it. Give the bending stress you trust the teeth with."
        raise BuildSheetError([Mistake("allowable_mpa", "#/allowable_mpa", text)])
    return min(given)
