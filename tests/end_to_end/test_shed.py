"""The main job on real processes: killed, frozen, unplugged, reset, jammed."""

import signal
from pathlib import Path

import pytest

from geartender.build import figures, load_build
from tests.end_to_end.shed import VENT, Shed, shed

SILENCE_S = 0.25
LIMITS = load_build(VENT).limits
PER_DEG = 1 / float(figures(load_build(VENT)).deg_per_count)


@pytest.fixture
def vent(tmp_path: Path):
    with shed(tmp_path) as made:
        yield made


def in_full_swing(vent: Shed, to_deg: float = 70.0) -> float:
    """Homed and moving at full speed; the truth's time at that instant."""
    vent.ready()
    assert vent.post("/moves", {"to_deg": to_deg}).status_code == 202
    vent.until(lambda: vent.truth()["output_deg_s"] > 19.0)
    return float(vent.truth()["t_s"])


def rest_after(vent: Shed, t_s: float) -> float:
    """How long after a time the lever came to rest, in the truth's seconds."""
    vent.until(lambda: vent.truth()["output_deg_s"] == 0.0)
    moving = [row["t_s"] for row in vent.rows() if abs(row["output_deg_s"]) > 0.02 and row["t_s"] >= t_s]
    return max(moving, default=t_s) - t_s


def ramp_s() -> float:
    """The stopping ramp from full speed: no slower than the sheet's own acceleration and jerk, and a swing of the lever."""
    assert LIMITS is not None
    return LIMITS.speed_deg_s / LIMITS.accel_deg_s2 + LIMITS.accel_deg_s2 / LIMITS.jerk_deg_s3 + 0.1


def test_from_start_to_a_lever_where_it_was_sent(vent):
    vent.ready()
    for target in (42.0, 13.5, 74.0, 0.5):
        motion = vent.post("/moves", {"to_deg": target}, wait=20).json()
        assert motion["state"] == "done"
        assert abs(motion["error_deg"]) * PER_DEG <= 1.0
        assert abs(vent.truth()["output_deg"] - target) < 0.1


@pytest.mark.parametrize("number", [signal.SIGKILL, signal.SIGSTOP])
def test_a_service_that_dies_or_freezes_in_mid_move_leaves_a_lever_at_rest(vent, number):
    in_full_swing(vent)
    vent.strike(number)
    began = float(vent.truth()["t_s"])
    assert rest_after(vent, began) <= SILENCE_S + ramp_s()
    vent.strike(signal.SIGCONT)


def test_a_service_that_starts_again_finds_the_position_known_and_the_servo_disarmed(vent):
    vent.ready()
    vent.post("/moves", {"to_deg": 30.0}, wait=20)
    angle = vent.snapshot()["angle_deg"]
    vent.end_service()
    vent.start()
    again = vent.snapshot()
    assert (again["state"], again["homed"], again["armed"]) == ("disarmed", True, False)
    assert again["angle_deg"] == pytest.approx(angle, abs=2 / PER_DEG)


def test_a_motion_that_a_dying_service_had_under_way_is_unknown_and_never_goes_on(vent):
    in_full_swing(vent)
    vent.end_service()
    vent.until(lambda: vent.truth()["output_deg_s"] == 0.0)
    rest = vent.truth()["output_deg"]
    vent.start()
    moves = vent.http.get(vent.url.replace("/servos/vent", "/journal?kind=move")).json()["items"]
    assert [(move["text"], move["result"]) for move in moves] == [("move to 70°", "unknown")]
    assert vent.snapshot()["state"] in ("disarmed", "faulted")
    assert vent.post("/moves", {"to_deg": 70.0}).status_code == 409
    assert vent.truth()["output_deg"] == pytest.approx(rest, abs=0.05)


def test_the_cable_out_and_in_comes_back_by_itself_disarmed(vent):
    vent.ready()
    vent.command("unplug 1")
    vent.until(lambda: vent.snapshot()["state"] == "offline")
    vent.until(vent.link.exists)
    back = float(vent.truth()["t_s"])
    vent.until(lambda: vent.snapshot()["state"] != "offline")
    assert float(vent.truth()["t_s"]) - back <= 2.0
    assert (vent.snapshot()["state"], vent.snapshot()["homed"]) == ("disarmed", True)


def test_the_cable_out_in_mid_move_stops_it_and_loses_no_count(vent):
    began = in_full_swing(vent)
    vent.command("unplug 1.5")
    assert rest_after(vent, began) <= SILENCE_S + ramp_s()
    vent.until(lambda: vent.snapshot()["state"] == "disarmed")
    snapshot = vent.snapshot()
    assert abs(snapshot["angle_deg"] - vent.truth()["output_deg"]) < 0.3


def test_a_reset_of_the_firmware_is_told_and_forgets_the_position(vent):
    vent.ready()
    vent.command("reset")
    vent.until(lambda: vent.snapshot()["fault"] is not None)
    snapshot = vent.snapshot()
    assert snapshot["fault"]["cause"] == "controller-reset"
    assert (snapshot["homed"], snapshot["armed"], snapshot["angle_deg"]) == (False, False, None)
    assert vent.post("/reset").status_code == 200
    vent.ready()


def test_a_jam_at_full_speed_is_told_and_nothing_moves_until_a_person_wants_it(vent):
    in_full_swing(vent)
    vent.command("jam")
    vent.until(lambda: vent.snapshot()["state"] == "faulted")
    snapshot = vent.snapshot()
    assert snapshot["fault"]["cause"] in ("overload", "stalled")
    assert snapshot["fault"]["peak_torque_nm"] > 0
    assert snapshot["duty"] == 0
    vent.command("free")
    freed = vent.truth()["t_s"]
    vent.until(lambda: vent.truth()["t_s"] > freed + 0.5)  # what was twisted springs back
    where = vent.truth()["output_deg"]
    for command in ("/arm", "/home"):
        assert vent.post(command).status_code == 409
    assert vent.post("/moves", {"to_deg": 10.0}).json()["type"] == "/problems/faulted"
    assert vent.post("/reset").status_code == 200
    assert vent.post("/moves", {"to_deg": 10.0}).json()["type"] == "/problems/disarmed"
    assert vent.truth()["output_deg"] == pytest.approx(where, abs=0.2)
    vent.ready()
    assert vent.post("/moves", {"to_deg": 10.0}, wait=20).json()["state"] == "done"


@pytest.mark.micropython
def test_the_same_on_a_real_micropython(tmp_path):
    with shed(tmp_path, VENT, "--micropython") as vent:
        vent.ready()
        motion = vent.post("/moves", {"to_deg": 33.0}, wait=20).json()
        assert (motion["state"], abs(motion["error_deg"]) * PER_DEG <= 1.0) == ("done", True)
        vent.command("jam")
        answer = vent.post("/moves", {"to_deg": 60.0})
        assert answer.status_code == 202, answer.text
        vent.until(lambda: vent.snapshot()["state"] == "faulted")
