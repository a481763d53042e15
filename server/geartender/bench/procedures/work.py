"""What the steps of a procedure share: the session, the hands, and what was found so far."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from geartender.bench.estimators.fit import Value
from geartender.bench.estimators.record import Record
from geartender.bench.hands import Hands
from geartender.bench.models import Plot
from geartender.bench.session import Session
from geartender.build.disc import counts_per_motor_turn
from geartender.build.measured import Found
from geartender.build.train import gear_ratio
from geartender.servo.settings import Dynamics
from geartender.servo.trials import Recording
from geartender.servo.units import Scale

PLOT_POINTS = 400
"""Points of a line of a plot: more than a phone's screen shows."""

TORQUE_SHARE = 0.5
"""Share of the overload torque that a machine of which nothing is certain gets."""


@dataclass
class Work:
    """A procedure under way."""

    session: Session
    hands: Hands
    values: dict[str, Found] = field(default_factory=dict)
    magnets: list[float] = field(default_factory=list)
    edge_play: Value | None = None
    """Counts between the two sides of the home edge."""
    marks_seen: float = 0.0
    """Marks of a turn as counted by hand; 0 where nobody did."""
    sensors_seen: bool = False
    """Whether both sensors of the disc changed under a hand."""
    spins: list[Record] = field(default_factory=list)
    """Runs away from home at two held voltages."""
    magnet_spread: float = 0.0
    """Standard uncertainty of an edge's place, counts."""

    @classmethod
    def of(cls, session: Session) -> Work:
        """For a session that begins."""
        return cls(session, Hands(session))

    @property
    def scale(self) -> Scale:
        """Counts and degrees."""
        return self.hands.scale

    @property
    def dynamics(self) -> Dynamics:
        """The drive as it is taken to be so far."""
        return self.session.servo.dynamics

    @property
    def dynamics_ratio(self) -> float:
        """Turns of the motor for one of the output, by the sheet."""
        return float(gear_ratio(self.session.servo.sheet.mesh))

    @property
    def edges(self) -> int:
        """Counts of a turn of the motor."""
        return counts_per_motor_turn(self.session.servo.sheet.disc)

    @property
    def rad_per_count(self) -> float:
        """Of the motor."""
        return math.tau / self.edges

    @property
    def table(self) -> np.ndarray:
        """Offsets of the disc's edges, in counts; even where nobody has measured them."""
        return np.asarray(self.magnets or [0.0] * self.edges)

    def found(self, name: str, value: Value) -> None:
        """Keep a value, in the step and for the measured document."""
        if not math.isfinite(value.value):
            return
        kept = Found(
            value=float(value.value),
            uncertainty=float(value.uncertainty) if math.isfinite(value.uncertainty) else abs(float(value.value)),
            procedure=self.session.report.procedure,
            run=self.session.id,
            at=self.session.world.wall(),
        )
        self.values[name] = kept
        self.session.report.steps[-1].values[name] = kept
        self.session.changed()

    def value(self, name: str) -> float | None:
        """A value found in this run, or before."""
        if name in self.values:
            return self.values[name].value
        return self.session.servo.measured.value(name)

    def keep(self, name: str, recording: Recording) -> Record:
        """Make arrays of a recording, and keep it raw under a name."""
        record = Record.of(recording.series(), recording.supply(), self.session.servo.sheet.motor.supply_v)
        self.session.records[name] = record.pack()
        self.session.report.steps[-1].records.append(name)
        return record

    def plot(
        self, title: str, x: str, y: str, series: dict[str, list[tuple[float, float]]], *, dots: bool = False
    ) -> None:
        """Show a picture in the step."""
        thin = {name: thinned(points) for name, points in series.items()}
        plot = Plot(title=title, x_label=x, y_label=y, series=thin, dots=dots)
        self.session.report.steps[-1].plots.append(plot)
        self.session.changed()


def thinned(points: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """At most PLOT_POINTS of them, rounded to what a picture shows."""
    every = max(1, len(points) // PLOT_POINTS)
    return [
        (round(float(x), 5), round(float(y), 6)) for x, y in points[::every] if math.isfinite(x) and math.isfinite(y)
    ]


def curve(record: Record, values: np.ndarray | None = None) -> list[tuple[float, float]]:
    """Points of a plot over a record's time: counts from its beginning, or values of the same length."""
    values = record.count - record.count[0] if values is None else values
    return [(float(t), float(v)) for t, v in zip(record.t_s, values, strict=True)]
