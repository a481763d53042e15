"""What telemetry says, in degrees and newton metres: the newest row, the seconds before, and the play in the gears."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from typing import Any

from geartender.link.lines import Telemetry
from geartender.servo.models import TraceRow
from geartender.servo.units import WIRE, Scale

RING_ROWS = 400
"""Rows kept from before a fault: twelve seconds."""

ARMED_STATES = frozenset(("ready", "moving", "homing", "turning", "jogging", "stopping"))


@dataclass(frozen=True, slots=True)
class Live:
    """A row of telemetry with its scale, and the host time of the moment that it describes."""

    row: Telemetry
    scale: Scale
    at: float

    @property
    def homed(self) -> bool:
        """Whether the position is known."""
        return self.row.homed == 1

    @property
    def armed(self) -> bool:
        """Whether the bridge may drive."""
        return self.row.state in ARMED_STATES

    @property
    def led_by_pulse(self) -> bool:
        """Whether the pulse at the input leads, not this service."""
        return self.row.source == "pulse"

    @property
    def held_up(self) -> bool:
        """Whether an overload that is eased holds the lever up now."""
        return self.row.eased == 1

    @property
    def off_course(self) -> bool:
        """Whether it is held up, or has been: then the plan says where it goes, but not when."""
        return self.row.eased != 0

    @property
    def angle_deg(self) -> float | None:
        """Angle of the output by the count, if the position is known."""
        return self.scale.deg_of_count(self.row.count, self.row.origin) if self.homed else None

    @property
    def reference_deg(self) -> float | None:
        """Commanded angle, if the position is known."""
        return self.scale.deg(self.row.reference, self.row.origin) if self.homed else None

    @property
    def counts(self) -> int:
        """The count from the home edge, raw where the position is not known."""
        return self.row.count - (self.row.origin // WIRE if self.homed else 0)

    @property
    def speed_deg_s(self) -> float:
        """Estimated speed of the output."""
        return self.scale.deg_rate(self.row.speed)

    @property
    def torque_nm(self) -> float:
        """Torque at the output by the motor model."""
        return self.scale.torque_nm(self.row.load)

    @property
    def peak_torque_nm(self) -> float:
        """Largest torque of the running or last motion."""
        return self.scale.torque_nm(self.row.peak)

    @property
    def supply_v(self) -> float | None:
        """Supply voltage, if it is measured."""
        return self.row.supply / 1000 if self.row.supply else None

    def trace_row(self, began: float, target_deg: float | None) -> TraceRow:
        """The row as a trace shows it, `began` being the host time of its zero."""
        return TraceRow(
            t_s=round(self.at - began, 4),
            angle_deg=rounded(self.angle_deg),
            target_deg=target_deg,
            reference_deg=rounded(self.reference_deg),
            speed_deg_s=round(self.speed_deg_s, 4),
            torque_nm=round(self.torque_nm, 4),
            current_a=self.row.current / 1000,
            duty=self.row.duty / 10000,
            supply_v=self.supply_v,
            counts=self.counts,
        )

    def message(self, servo: str, state: str, target_deg: float | None) -> dict[str, Any]:
        """The row as the live socket sends it."""
        row = self.trace_row(0.0, target_deg)
        return {
            "type": "telemetry",
            "servo": servo,
            **row.model_dump(exclude={"current_a"}),
            "winding_c": self.row.winding / 10,
            "source": self.row.source,
            "pulse_us": self.row.pulse or None,
            "held_up": self.held_up,
            "state": state,
        }


class Play:
    """Where the output may stand within the play of the gears, in counts of the motor.

    A play operator on both bounds of what is possible: moving one way for the whole play makes them meet.
    """

    def __init__(self, width: float) -> None:
        self.width = width
        self._low: float | None = None
        self._high = 0.0

    def follow(self, count: int, *, driven: bool) -> None:
        """The motor is at that count; not driven, anything within the play may have happened."""
        low, high = count - self.width, float(count)
        if self._low is None or not driven:
            self._low, self._high = low, high
        else:
            self._low, self._high = min(max(self._low, low), high), min(max(self._high, low), high)

    def slack(self, side: int, count: int) -> float:
        """Counts to go to that side before the output surely follows."""
        if self._low is None:
            return self.width
        return self.width - (count - self._high) if side > 0 else count - self._low


class Ring:
    """The last seconds, for the time a fault happens."""

    def __init__(self) -> None:
        self._rows: deque[Live] = deque(maxlen=RING_ROWS)

    def add(self, live: Live) -> None:
        """Keep a row; the oldest goes."""
        self._rows.append(live)

    def trace(self, ended: float) -> list[TraceRow]:
        """The rows kept, with times before that moment."""
        return [live.trace_row(ended, None) for live in self._rows]


def rounded(value: float | None) -> float | None:
    """To a ten-thousandth, or None."""
    return None if value is None else round(value, 4)
