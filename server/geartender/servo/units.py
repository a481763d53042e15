"""Counts, link units and motor current on the one side; degrees and newton metres of the output on the other."""

from __future__ import annotations

import math
from dataclasses import dataclass

from geartender.build import BuildSheet
from geartender.build.disc import counts_per_motor_turn
from geartender.build.drive import Drive

WIRE = 65536
"""Link units of a count: positions, speeds, accelerations and jerks go over the link in 1/65536 count."""

TICK_S = 0.002
"""s; the firmware's tick."""

FINE = 1 << 24
"""2^-24 count: the unit of the firmware's own speeds and accelerations."""


@dataclass(frozen=True, slots=True)
class Scale:
    """How this build turns counts into degrees and current into torque. Positive counts are positive degrees."""

    deg_per_count: float
    home_deg: float
    """Angle of the output at the edge of the home mark; 0 where the sheet has none."""
    nm_per_a: float
    """Torque at the output for an ampere beyond friction."""
    counts_per_turn: float
    """Counts of one turn of the output."""

    @classmethod
    def of(cls, sheet: BuildSheet) -> Scale:
        """The scale of a build sheet."""
        drive = Drive.of(sheet)
        counts = float(counts_per_motor_turn(sheet.disc) * drive.exact_ratio)
        home_deg = sheet.home.angle_deg if sheet.home else 0.0
        return cls(360 / counts, home_deg, drive.motor.kt_nm_per_a * drive.gain, counts)

    def counts(self, deg: float) -> float:
        """Counts in so many degrees."""
        return deg / self.deg_per_count

    def wire_position(self, deg: float, origin: int) -> int:
        """An angle as a position on the link, `origin` being the home edge there."""
        return origin + round((deg - self.home_deg) / self.deg_per_count * WIRE)

    def wire_rate(self, deg: float) -> int:
        """Degrees per s (or s², s³) as a rate on the link."""
        return round(deg / self.deg_per_count * WIRE)

    def deg(self, position: float, origin: int) -> float:
        """A position on the link as an angle."""
        return self.home_deg + (position - origin) / WIRE * self.deg_per_count

    def deg_of_count(self, count: int, origin: int) -> float:
        """The angle at the middle of a count's cell."""
        return self.deg((count + 0.5) * WIRE, origin)

    def deg_rate(self, rate: float) -> float:
        """A rate on the link in degrees per s (or s², s³)."""
        return rate / WIRE * self.deg_per_count

    def torque_nm(self, load_ma: float) -> float:
        """Torque at the output for a load current."""
        return load_ma / 1000 * self.nm_per_a

    def load_ma(self, torque_nm: float) -> float:
        """Load current for a torque at the output."""
        return torque_nm / self.nm_per_a * 1000 if self.nm_per_a else math.inf

    def fine_speed(self, deg_s: float) -> int:
        """Degrees per s as 2^-24 count per tick."""
        return round(self.counts(deg_s) * TICK_S * FINE)

    def fine_accel(self, deg_s2: float) -> int:
        """Degrees per s² as 2^-24 count per tick²."""
        return round(self.counts(deg_s2) * TICK_S**2 * FINE)

    def fine_jerk(self, deg_s3: float) -> int:
        """Degrees per s³ as 2^-24 count per tick³."""
        return round(self.counts(deg_s3) * TICK_S**3 * FINE)
