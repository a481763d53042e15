"""A record of the firmware's ticks as arrays, and how it is put by."""

from __future__ import annotations

import base64
import json
import zlib
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Record:
    """Samples at equal times. The duty of a sample holds from its time to the next one's."""

    t_s: Floats
    count: Ints
    """Raw counts: the disc stands in the cell from `count` to `count` + 1."""
    duty: Floats
    """-1 to 1; 0 where the bridge is off or shorts the motor."""
    mark: Bools
    supply_v: Floats
    """At the bridge, under load."""

    @classmethod
    def of(
        cls,
        series: tuple[list[float], list[int], list[float], list[bool]],
        supply: list[tuple[float, float]],
        nominal_v: float,
    ) -> Record:
        """From what the servo recorded; the supply of telemetry is drawn through the samples, else the nominal one stands."""
        t = np.asarray(series[0], float)
        volts = np.full(len(t), nominal_v)
        if supply:
            at, seen = np.asarray(supply, float).T
            volts = np.interp(t, at, seen)
        return cls(t, np.asarray(series[1], np.int64), np.asarray(series[2], float), np.asarray(series[3], bool), volts)

    @property
    def step_s(self) -> float:
        """Time from sample to sample."""
        return float(self.t_s[1] - self.t_s[0])

    @property
    def volts(self) -> Floats:
        """Voltage at the motor's winding."""
        return self.duty * self.supply_v

    def part(self, first: int, last: int) -> Record:
        """The samples from `first` up to before `last`."""
        at = slice(first, last)
        return Record(self.t_s[at], self.count[at], self.duty[at], self.mark[at], self.supply_v[at])

    def pack(self) -> str:
        """As text, for keeping: whole numbers as differences, compressed."""
        body = {
            "step_s": self.step_s,
            "began_s": float(self.t_s[0]),
            "count": [int(self.count[0]), *np.diff(self.count).tolist()],
            "duty": np.round(self.duty * 10_000).astype(int).tolist(),
            "mark": self.mark.astype(int).tolist(),
            "supply_mv": np.round(self.supply_v * 1000).astype(int).tolist(),
        }
        return base64.b64encode(zlib.compress(json.dumps(body).encode())).decode()

    @classmethod
    def unpack(cls, text: str) -> Record:
        """The record that `pack` made a text of. Raises ValueError for another text."""
        body = json.loads(zlib.decompress(base64.b64decode(text)))
        count = np.cumsum(np.asarray(body["count"], np.int64))
        return cls(
            body["began_s"] + body["step_s"] * np.arange(len(count)),
            count,
            np.asarray(body["duty"], float) / 10_000,
            np.asarray(body["mark"], bool),
            np.asarray(body["supply_mv"], float) / 1000,
        )
