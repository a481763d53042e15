"""The mechanics against closed forms: what a motor, a train and a load do by the book."""

import math

import pytest

from geartender.simulator.mechanics import TURN, Mechanics
from geartender.simulator.plant import Plant
from tests.firmware.kit import plant_with

R, K, J = 9.0, 0.024, 2.5e-6
"""Ohm, V·s, kg·m² of the motor here. Invented."""
RATIO = 100.0
VOLTS = 12.0


def body(seed: int = 0, seek_down: bool = True, **tables) -> Mechanics:
    """A rigid train of 100 to 1 on a stiff supply, no losses, some values changed."""
    data = {
        "motor": {"resistance_ohm": R, "ke_v_s": K, "rotor_inertia_kg_m2": J},
        "gear": {"ratio": RATIO},
        "disc": {"marks": 4},
        "supply": {"volts": VOLTS},
    }
    for name, value in tables.items():
        data[name] = {**data.get(name, {}), **value} if isinstance(value, dict) else value
    return Mechanics(Plant.model_validate(data), seek_down, seed)


def run(mechanics: Mechanics, seconds: float, duty: float = 1.0, driven: bool = True, each=lambda: None) -> Mechanics:
    """Move on in ticks of 2 ms, looking after each."""
    for _ in range(round(seconds / 0.002)):
        mechanics.advance(0.002, duty, driven)
        each()
    return mechanics


def motor_speed(mechanics: Mechanics) -> float:
    """Of the motor's shaft, rad per s."""
    return math.radians(mechanics.truth().output_deg_s) * RATIO


def time_constant(load_inertia: float = 0.0) -> float:
    """J·R/K² of everything that turns, seen from the motor; the wheels of an unloaded train count for 2 % of the rotor."""
    return (J + max(load_inertia / RATIO**2, 0.02 * J)) * R / K**2


@pytest.mark.parametrize(("duty", "coulomb"), [(1.0, 0.0), (1.0, 0.002), (0.5, 0.002), (-0.75, 0.001)])
def test_no_load_speed(duty, coulomb):
    idle_a = coulomb / K
    expected = math.copysign((abs(duty) * VOLTS - idle_a * R) / K, duty)
    mechanics = run(body(motor={"coulomb_nm": coulomb}), 12 * time_constant(), duty)
    assert motor_speed(mechanics) == pytest.approx(expected, rel=1e-3)
    assert abs(mechanics.truth().current_a) == pytest.approx(idle_a, abs=1e-3)


def test_viscous_friction_takes_its_share_of_the_no_load_speed():
    viscous = 1e-5
    mechanics = run(body(motor={"viscous_nm_s": viscous}), 1.0)
    assert motor_speed(mechanics) == pytest.approx(VOLTS / K / (1 + viscous * R / K**2), rel=1e-3)


@pytest.mark.parametrize("efficiency", [1.0, 0.6])
def test_stall_torque(efficiency):
    mechanics = body(gear={"efficiency": efficiency})
    mechanics.jam()
    run(mechanics, 0.1)
    truth = mechanics.truth()
    assert truth.current_a == pytest.approx(VOLTS / R, rel=1e-3)
    assert truth.output_nm == pytest.approx(VOLTS / R * K * RATIO * efficiency, rel=1e-3)
    assert truth.output_deg_s == 0.0


@pytest.mark.parametrize("load_inertia", [0.0, 0.1])
def test_a_run_up_has_its_time_constant(load_inertia):
    tau = time_constant(load_inertia)
    mechanics = run(body(load={"inertia_kg_m2": load_inertia}), tau)
    ticks = round(tau / 0.002) * 0.002
    # the stepping of half a millisecond is worth a quarter of it
    assert motor_speed(mechanics) == pytest.approx(VOLTS / K * -math.expm1(-ticks / tau), rel=0.005)


def test_an_open_motor_coasts_and_a_shorted_one_brakes_in_its_time_constant():
    coasting, braking = run(body(), 1.0), run(body(), 1.0)
    full = motor_speed(coasting)
    run(coasting, 0.02, 0.0, driven=False)
    run(braking, 0.02, 0.0)
    assert motor_speed(coasting) == pytest.approx(full, rel=1e-9)
    assert motor_speed(braking) == pytest.approx(full * math.exp(-0.02 / time_constant()), rel=0.02)


def test_energy_is_kept():
    """Over a run-up and a haul: what goes in is copper, friction, motion and what has been lifted, to a percent."""
    coulomb, gravity, drag, inertia = 0.001, 2.0, 0.5, 0.1
    load = {"inertia_kg_m2": inertia, "gravity_nm": gravity, "friction_nm": drag}
    mechanics = body(motor={"coulomb_nm": coulomb}, load=load, start_deg=-60.0)
    put_in = copper = 0.0
    begun = mechanics.truth()
    for _ in range(400):
        mechanics.advance(0.0005, 1.0, driven=True)
        current = mechanics.truth().current_a
        put_in += VOLTS * current * 0.0005
        copper += current**2 * R * 0.0005
    ended = mechanics.truth()
    way = math.radians(ended.output_deg - begun.output_deg)
    friction = coulomb * way * RATIO + drag * way
    kinetic = (J * RATIO**2 + inertia) * math.radians(ended.output_deg_s) ** 2 / 2
    lifted = gravity * (math.sin(math.radians(ended.output_deg)) - math.sin(math.radians(begun.output_deg)))
    assert put_in == pytest.approx(copper + friction + kinetic + lifted, rel=0.01)
    assert min(copper, friction, kinetic, lifted) > 0.01 * put_in, "each must matter"


@pytest.mark.parametrize(("gravity", "holds"), [(1.9, True), (2.1, False)])
@pytest.mark.parametrize("play", [0.0, 1.0])
def test_friction_holds_a_weight_up_to_its_torque(gravity, holds, play):
    gear = {"backlash_deg": play}
    mechanics = body(gear=gear, load={"gravity_nm": gravity, "friction_nm": 2.0, "inertia_kg_m2": 0.05})
    run(mechanics, 0.5, 0.0, driven=False)
    assert (mechanics.truth().output_deg == 0.0) is holds


@pytest.mark.parametrize("efficiency", [0.5, 0.8])
def test_losses_in_the_teeth_lie_on_the_side_that_is_driven(efficiency):
    """Hauling a weight takes gravity/(ratio·efficiency) at the shaft; let down, it gives gravity·efficiency/ratio."""
    gravity = 1.0
    currents = {}
    for way, duty in (("up", 0.7), ("down", -0.5)):
        load = {"gravity_nm": gravity, "inertia_kg_m2": 0.01}
        mechanics = body(gear={"efficiency": efficiency}, load=load, start_deg=-10.0 if way == "up" else 10.0)
        run(mechanics, 0.2, duty)
        cosine = math.cos(math.radians(mechanics.truth().output_deg))
        currents[way] = mechanics.truth().current_a / cosine
    assert currents["up"] == pytest.approx(gravity / RATIO / efficiency / K, rel=0.03)
    if efficiency == 0.8:
        assert abs(currents["down"]) < currents["up"]


def test_losses_in_the_teeth_hold_a_train_that_stands():
    """Wound up against a jam and then driven a little less, it neither unwinds nor creeps on: friction goes neither way."""
    mechanics = body(gear={"efficiency": 0.6, "stiffness_nm_per_deg": 30.0}, load={"inertia_kg_m2": 0.05})
    mechanics.jam()
    run(mechanics, 0.5, 0.5)
    wound, pressed = mechanics.truth().output_nm, 0.5 * VOLTS / R * K * RATIO * 0.6
    assert pressed <= wound <= 2 * pressed, "what is pressed and what the rotor's swing adds"
    for duty in (0.45, 0.4):
        run(mechanics, 1.0, duty)
        assert mechanics.truth().output_nm == pytest.approx(wound, rel=1e-3)


def test_play_is_a_dead_zone_of_its_width_at_the_output():
    play = 2.0
    mechanics = body(
        gear={"backlash_deg": play, "stiffness_nm_per_deg": 40.0}, load={"friction_nm": 0.5, "inertia_kg_m2": 0.005}
    )
    run(mechanics, 0.3, 0.3)
    run(mechanics, 0.5, 0.0)
    before, counts = mechanics.truth().output_deg, mechanics.counts
    per_deg = 16 * RATIO / 360
    taken_up = None
    for _ in range(2000):
        mechanics.advance(0.0005, -0.2, driven=True)
        if mechanics.truth().output_deg < before - 0.02:
            taken_up = (counts - mechanics.counts) / per_deg
            break
    assert taken_up == pytest.approx(play, abs=0.1)


@pytest.mark.parametrize("gear", [{}, {"backlash_deg": 1.0, "stiffness_nm_per_deg": 20.0}])
def test_end_stops_are_never_passed(gear):
    mechanics = body(gear=gear, stops={"min_deg": -5.0, "max_deg": 20.0})
    angles = []
    for duty in (1.0, -1.0, 1.0):
        run(mechanics, 0.5, duty, each=lambda: angles.append(mechanics.truth().output_deg))
        assert mechanics.truth().output_deg_s == 0.0
    assert min(angles) == pytest.approx(-5.0)
    assert max(angles) == pytest.approx(20.0)
    assert all(-5.0 - 1e-9 <= angle <= 20.0 + 1e-9 for angle in angles)


def test_the_supply_sags_by_its_resistance():
    mechanics = body(supply={"resistance_ohm": 1.0})
    mechanics.jam()
    run(mechanics, 0.1)
    assert mechanics.truth().current_a == pytest.approx(VOLTS / (R + 1.0), rel=1e-3)
    assert mechanics.supply_mv == pytest.approx(1000 * VOLTS * R / (R + 1.0), rel=1e-3)


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("marks", [1, 4, 81])
def test_an_uneven_disc_keeps_its_counts_per_turn_and_its_order(seed, marks):
    mechanics = body(seed, disc={"marks": marks, "phase_error_deg": 20.0})
    edges = mechanics._edges
    assert edges == sorted(edges)
    assert len(set(edges)) == 4 * marks
    assert edges[0] == 0.0
    assert edges[-1] < 1.0
    seen = []
    for step in range(-2000, 2001):
        mechanics._motor = step / 1000 * TURN
        seen.append(mechanics._cell())
    assert seen == sorted(seen)
    assert seen[4000] - seen[2000] == seen[2000] - seen[0] == 8 * marks


def test_edges_are_off_their_place_by_no_more_than_the_plant_says_and_differ_by_seed():
    mechanics, other = (body(seed, disc={"marks": 4, "phase_error_deg": 20.0}) for seed in (1, 2))
    off_deg = [(edge - index / 16) * 360.0 * 4 for index, edge in enumerate(mechanics._edges)]
    assert 10.0 < max(map(abs, off_deg)) <= 20.0
    assert mechanics._edges != other._edges


@pytest.mark.parametrize(("seek_down", "low", "high"), [(True, 7.0, 10.0), (False, 10.0, 13.0)])
def test_the_mark_lies_beyond_its_edge_in_the_seeking_direction(seek_down, low, high):
    mechanics = body(seek_down=seek_down, home={"angle_deg": 10.0, "width_deg": 3.0})
    for turn in (0.0, 360.0, -720.0):
        for angle, on in ((low - 0.01, False), (low + 0.01, True), (high - 0.01, True), (high + 0.01, False)):
            mechanics._output = math.radians(turn + angle)
            assert mechanics.home_mark is on, (turn, angle)


def test_a_mark_of_no_width_is_never_seen():
    mechanics = body(home={"angle_deg": 0.0, "width_deg": 0.0})
    for angle in range(-360, 361):
        mechanics._output = math.radians(angle)
        assert not mechanics.home_mark


@pytest.mark.parametrize("backlash_deg", [0.0, 0.5])
def test_a_train_too_stiff_to_be_stepped_is_as_stiff_as_can_be(backlash_deg):
    plant = plant_with(gear={"stiffness_nm_per_deg": 1e7, "backlash_deg": backlash_deg}, load={"inertia_kg_m2": 1e-4})
    body = Mechanics(plant, seek_down=True, seed=0)
    for _ in range(1000):
        body.advance(0.002, 0.3, driven=True)
    truth = body.truth()
    assert 0.0 < truth.output_deg - plant.start_deg < 75.0
    assert abs(truth.output_nm) < 100.0


@pytest.mark.parametrize("gear", [{}, {"backlash_deg": 0.3, "stiffness_nm_per_deg": 20.0}])
def test_a_weight_on_the_lever_pulls_by_the_cosine_of_its_angle(gear):
    hung = 0.4
    mechanics = body(gear=gear, load={"inertia_kg_m2": 0.002}, start_deg=30.0)
    mechanics.hung_nm = hung
    holds = hung * math.cos(math.radians(30.0)) / RATIO * R / (K * VOLTS)
    before = mechanics.truth().output_deg
    run(mechanics, 0.5, holds)
    assert mechanics.truth().output_deg == pytest.approx(before, abs=0.3)
    run(mechanics, 0.3, 0.0)
    assert mechanics.truth().output_deg < before - 5.0


def test_a_held_winding_warms_to_its_power_times_the_heat_path_and_its_current_falls_as_copper_does():
    k_per_w, time_s = 8.0, 20.0
    mechanics = body(motor={"thermal_k_per_w": k_per_w, "thermal_time_s": time_s})
    mechanics.jam()
    run(mechanics, 0.02, 0.5)
    cold_a = mechanics.truth().current_a
    assert cold_a == pytest.approx(0.5 * VOLTS / R, rel=1e-3)
    run(mechanics, time_s, 0.5)
    early_k = mechanics.winding_rise_k
    run(mechanics, 9 * time_s, 0.5)
    warm_a = mechanics.truth().current_a
    assert mechanics.winding_rise_k == pytest.approx(k_per_w * 0.5 * VOLTS * warm_a, rel=1e-3)
    assert cold_a / warm_a == pytest.approx((235 + 25 + mechanics.winding_rise_k) / (235 + 25), rel=1e-3)
    assert early_k == pytest.approx(mechanics.winding_rise_k * -math.expm1(-1), rel=0.1)
    run(mechanics, time_s, 0.0, driven=False)
    assert mechanics.winding_rise_k < 0.4 * k_per_w * 0.5 * VOLTS * warm_a
