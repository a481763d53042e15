"""Motion profiles against published formulas and the reference library's durations.

Marks: [V-lib] the durations were produced by ruckig 0.19.4, [V-calc] recomputed from the stated formula, [M] the citation is from
memory. Units are arbitrary; the values read as degrees and seconds.
"""

import math

import pytest

from geartender.motion import Limits, Path, State, plan, plan_velocity, stop_path

LIMITS = Limits(velocity=60, acceleration=240, jerk=2400)


def peaks(path: Path) -> tuple[float, float]:
    """Signed velocity and acceleration of greatest magnitude; both are met where pieces join."""
    states = [piece.start for piece in path.pieces]
    turns = [
        piece.at(-piece.start.acceleration / piece.jerk)
        for piece in path.pieces
        if piece.jerk and 0 < -piece.start.acceleration / piece.jerk < piece.duration
    ]
    return (
        max((state.velocity for state in [*states, *turns]), key=abs),
        abs(max((state.acceleration for state in states), key=abs)),
    )


# Trapezoid without a jerk limit: D >= v²/a: T = D/v + v/a, else T = 2·√(D/a) with the peak √(D·a). [V-calc]
# A jerk limit of 1e12 lengthens each ramp by a/j, 2.4e-10 s.
@pytest.mark.parametrize(
    ("distance", "duration", "peak"),
    [(90, 1.75, 60), (15, 0.5, 60), (10, 0.408248290, 48.989795)],
)
def test_without_a_jerk_limit_it_is_the_trapezoid(distance: float, duration: float, peak: float) -> None:
    path = plan(State(0), distance, Limits(60, 240, 1e12))
    assert path.duration == pytest.approx(duration, rel=1e-6)
    assert peaks(path)[0] == pytest.approx(peak, rel=1e-6)


# Rest to rest, all four cases: durations [V-lib] agree with the closed forms to 1e-9; closed forms: Biagiotti & Melchiorri,
# Trajectory Planning for Automatic Machines and Robots, 2008, section 3.4 [M]. Tolerance 1e-6 s.
REST_TO_REST = [
    # D, v, a, j, T, peak v, peak a
    (1, 1, 1, 1, 3.174802104, 0.629960525, 0.793700526),
    (10, 1, 1, 1, 12.000000000, 1, 1),
    (2, 1, 1, 1, 4.000000000, 1, 1),
    (5, 1, 2, 0.5, 7.828427125, 1, 0.707106781),
    (90, 60, 240, 2400, 1.850000000, 60, 240),
    (10, 60, 240, 2400, 0.520317340, 38.438080852, 240),
    (0.5, 60, 240, 2400, 0.188207206, 5.313292846, 112.924323466),
    (30, 12, 200, 400, 2.846410162, 12, 69.282032303),
    (-90, 60, 240, 2400, 1.850000000, -60, 240),
]


@pytest.mark.parametrize(("distance", "v", "a", "j", "duration", "peak_v", "peak_a"), REST_TO_REST)
def test_rest_to_rest_takes_the_known_time_and_has_the_known_peaks(
    distance: float, v: float, a: float, j: float, duration: float, peak_v: float, peak_a: float
) -> None:
    path = plan(State(0), distance, Limits(v, a, j))
    assert path.duration == pytest.approx(duration, abs=1e-6)
    assert peaks(path) == pytest.approx((peak_v, peak_a), abs=1e-6)


# The closed forms of neighbouring cases meet: D = 21 by A and C, D = 4.8 by C and D. [V-calc]
@pytest.mark.parametrize(("distance", "duration"), [(21, 0.70), (4.8, 0.40)])
def test_neighbouring_cases_meet(distance: float, duration: float) -> None:
    for beside in (math.nextafter(distance, 0), distance, math.nextafter(distance, 100)):
        assert plan(State(0), beside, LIMITS).duration == pytest.approx(duration, abs=1e-9)


# Stopping distance from a steady speed: v·Ta/2. [V-calc]
@pytest.mark.parametrize(("speed", "distance"), [(60, 10.5), (10, 0.645497)])
def test_a_stop_from_steady_speed_takes_the_known_distance(speed: float, distance: float) -> None:
    assert stop_path(State(0, speed), LIMITS).end.position == pytest.approx(distance, abs=1e-6)


# D = 90, v = 60, a = 240, j = 2400. [V-lib], tolerance 1e-9.
SAMPLES = [
    (0.05, 0.05, 3, 120),
    (0.1, 0.4, 12, 240),
    (0.25, 4.9, 48, 240),
    (0.35, 10.5, 60, 0),
    (0.925, 45, 60, 0),
    (1.5, 79.5, 60, 0),
    (1.6, 85.1, 48, -240),
    (1.75, 89.6, 12, -240),
    (1.85, 90, 0, 0),
]


@pytest.mark.parametrize(("t", "x", "v", "a"), SAMPLES)
def test_on_the_way_it_passes_the_known_states(t: float, x: float, v: float, a: float) -> None:
    state = plan(State(0), 90, LIMITS).at(t)
    assert (state.position, state.velocity, state.acceleration) == pytest.approx((x, v, a), abs=1e-9)


# From a moving start to rest. [V-lib], confirmed time-optimal by an independent linear-programming bisection [V-calc].
# Tolerance 1e-6 s. The last row starts above the speed limit.
MOVING_STARTS = [
    # v0, a0, target, T, lowest, highest position
    (10, 0, 30, 0.803472222, 0, 30),
    (-10, 0, 30, 0.903472222, -0.608580619, 30),
    (40, 0, 5, 0.357521523, 0, 5.258900438),
    (30, 120, 90, 1.713645833, 0, 90),
    (25, 100, 25, 0.645048466, 0, 25),
    (5, 10, 0, 0.196065837, 0, 0.237585666),
    (80, 0, 60, 1.173586580, 0, 60),
]


@pytest.mark.parametrize(("v0", "a0", "target", "duration", "low", "high"), MOVING_STARTS)
def test_from_a_moving_start_it_takes_the_known_time_and_room(
    v0: float, a0: float, target: float, duration: float, low: float, high: float
) -> None:
    path = plan(State(0, v0, a0), target, LIMITS)
    assert path.duration == pytest.approx(duration, abs=1e-6)
    assert path.extremes() == pytest.approx((low, high), abs=1e-6)


# Rest at 0 to speed 20 at 90: 1.763888889 s, between 0 and 90. [V-lib] The planner ends at rest, so the motion is planned in
# reversed time, from 90 with speed -20 to rest at 0, which takes as long and goes through the same positions.
def test_to_a_moving_end_from_rest_it_takes_the_known_time_in_reversed_time() -> None:
    path = plan(State(90, -20), 0, LIMITS)
    assert path.duration == pytest.approx(1.763888889, abs=1e-6)
    assert path.extremes() == pytest.approx((0, 90), abs=1e-6)


# Speed 20 at 0 to speed 20 at 90: 1.677777778 s. [V-lib] Two changes of velocity with the rest of the way at the limit between.
def test_from_a_moving_start_to_a_moving_end_it_takes_the_known_time_in_two_changes_of_velocity() -> None:
    up, down = plan_velocity(State(0, 20), 60, LIMITS), plan_velocity(State(0, 60), 20, LIMITS)
    cruise = (90 - up.end.position - down.end.position) / 60
    assert up.duration + cruise + down.duration == pytest.approx(1.677777778, abs=1e-6)


# From speed -10 at 0 to rest at 30. [V-lib], tolerance 1e-6.
TURNING_SAMPLES = [
    (0.1, -0.6, 2, 240),
    (0.2, 0.8, 26, 240),
    (0.3, 4.599768519, 49.916666667, 220),
    (0.5, 16.291666667, 60, 0),
    (0.7, 27.073553241, 36.833333333, -240),
]


@pytest.mark.parametrize(("t", "x", "v", "a"), TURNING_SAMPLES)
def test_turning_round_it_passes_the_known_states(t: float, x: float, v: float, a: float) -> None:
    state = plan(State(0, -10), 30, LIMITS).at(t)
    assert (state.position, state.velocity, state.acceleration) == pytest.approx((x, v, a), abs=1e-6)
