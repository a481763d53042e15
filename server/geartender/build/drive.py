"""Motor and train as one: what most figures, and the service, need of a build."""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction

from geartender.build.motor import MotorConstants, motor_constants
from geartender.build.sheet import BuildSheet
from geartender.build.strength import MeshLoad, mesh_loads
from geartender.build.suggest import overload_nm
from geartender.build.tooth import velocity_factor
from geartender.build.train import gear_ratio, train_efficiency


@dataclass(frozen=True, slots=True)
class Drive:
    """A motor with its train, seen from the output."""

    sheet: BuildSheet
    motor: MotorConstants
    exact_ratio: Fraction
    efficiency: float
    loads: list[MeshLoad]

    @classmethod
    def of(cls, sheet: BuildSheet) -> Drive:
        """The drive of a build sheet."""
        return cls(
            sheet,
            motor_constants(sheet.motor),
            gear_ratio(sheet.mesh),
            train_efficiency(sheet.mesh),
            mesh_loads(sheet.mesh),
        )

    @property
    def ratio(self) -> float:
        """Turns of the motor for one turn of the output."""
        return float(self.exact_ratio)

    @property
    def gain(self) -> float:
        """Torque of the output for 1 N·m of the motor."""
        return self.ratio * self.efficiency

    @property
    def no_load_deg_s(self) -> float:
        """Speed of the output at the motor's no-load speed."""
        return self.deg_s(self.motor.no_load_rad_s)

    @property
    def suggested_overload_nm(self) -> float:
        """Torque at the output to give up at."""
        return overload_nm(self.sheet, self.motor, self.gain, [self.running_limit_nm(load) for load in self.loads])

    @property
    def overload_nm(self) -> float:
        """The overload torque of the sheet, else the suggested one."""
        return self.sheet.overload.torque_nm or self.suggested_overload_nm

    def deg_s(self, motor_rad_s: float) -> float:
        """Speed of the output at a speed of the motor."""
        return math.degrees(motor_rad_s) / self.ratio

    def motor_rad_s(self, deg_s: float) -> float:
        """Speed of the motor at a speed of the output."""
        return math.radians(deg_s) * self.ratio

    def current_a(self, output_nm: float) -> float:
        """Motor current for a torque of the output, while it turns."""
        return self.motor.current_a(output_nm / self.gain)

    def torque_nm(self, current_a: float) -> float:
        """Torque of the output for a motor current, at least 0 and at most what a stall makes."""
        torque = self.motor.kt_nm_per_a * (current_a - self.motor.no_load_current_a)
        return min(max(torque, 0.0), self.motor.stall_torque_nm) * self.gain

    def velocity_factor(self, load: MeshLoad) -> float | None:
        """How much more a mesh is loaded at the motor's no-load speed than at rest; None without its module."""
        speed = load.pitch_line_m_s(self.motor.no_load_rad_s)
        return None if speed is None else velocity_factor(speed)

    def running_limit_nm(self, load: MeshLoad) -> float | None:
        """Torque of the output that a mesh bears at that speed; None where that is not known."""
        return load.limit_nm(self.velocity_factor(load) or 1.0)
