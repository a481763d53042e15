"""The RC pulse. Common practice, no formal standard: 20 ms frame, 1.5 ms in the middle, 1.0 and 2.0 ms at the ends, as a university's
page has it; the span of ±45° from memory, some devices take the same pulses for ±60° or ±90°.
"""

import pytest

from geartender.build.pulse import PulseScale
from geartender.build.tables import Pulse, Travel

WIDTHS = [(-45, 1000), (-22.5, 1250), (0, 1500), (9, 1600), (22.5, 1750), (30, 1833.333), (45, 2000)]


def scale(low: float = -45, high: float = 45) -> PulseScale:
    found = PulseScale.of(Pulse(), Travel(min_deg=low, max_deg=high))
    assert found is not None
    return found


@pytest.mark.parametrize(("angle", "width"), WIDTHS)
def test_angle_for_a_width_and_back(angle: float, width: float) -> None:
    assert scale().us(angle) == pytest.approx(width, abs=5e-4)
    assert scale().deg(width) == pytest.approx(angle, abs=5e-4)


@pytest.mark.parametrize("span", [60.0, 90.0])
def test_the_same_pulses_for_another_span(span: float) -> None:
    assert [scale(-span, span).deg(width) for width in (1000, 1500, 2000)] == [-span, 0.0, span]


# Duty at 50 Hz: the width alone makes the angle.
@pytest.mark.parametrize(("width", "percent"), [(1000, 5.0), (1500, 7.5), (2000, 10.0)])
def test_duty_at_fifty_hertz(width: float, percent: float) -> None:
    assert 100 * width / 20_000 == percent
    assert scale().us(scale().deg(width)) == width
