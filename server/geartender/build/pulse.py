"""The RC pulse: the angle for a pulse width, and back. Only the width counts, not the duty nor the frame.

Common practice, no standard: 1.0, 1.5 and 2.0 ms for one end, the middle and the other end, in a frame of about 20 ms.
"""

from dataclasses import dataclass

from geartender.build.tables import Pulse, Travel


@dataclass(frozen=True, slots=True)
class PulseScale:
    """Two straight lines that meet in the middle, so that a middle which is off centre bends neither end."""

    widths_us: tuple[float, float, float]
    angles_deg: tuple[float, float, float]

    @classmethod
    def of(cls, pulse: Pulse, travel: Travel | None) -> "PulseScale | None":
        """The scale of a sheet; None where neither the pulse nor the travel says what its ends mean."""
        low, high = (travel.min_deg, travel.max_deg) if travel else (None, None)
        low = low if pulse.min_deg is None else pulse.min_deg
        high = high if pulse.max_deg is None else pulse.max_deg
        if low is None or high is None:
            return None
        return cls((pulse.min_us, pulse.mid_us, pulse.max_us), (low, (low + high) / 2, high))

    def deg(self, width_us: float) -> float:
        """The angle for a width; beyond the ends it stays at them."""
        return _along(min(max(width_us, self.widths_us[0]), self.widths_us[2]), self.widths_us, self.angles_deg)

    def us(self, angle_deg: float) -> float:
        """The width for an angle; beyond the ends it stays at them. The ends may be given either way round."""
        low, middle, high = self.angles_deg
        if low > high:
            back = PulseScale(self.widths_us, (-low, -middle, -high))
            return back.us(-angle_deg)
        return _along(min(max(angle_deg, low), high), self.angles_deg, self.widths_us)


def _along(at: float, places: tuple[float, float, float], values: tuple[float, float, float]) -> float:
    half = 0 if at <= places[1] else 1
    share = (at - places[half]) / (places[half + 1] - places[half])
    return values[half] + share * (values[half + 1] - values[half])
