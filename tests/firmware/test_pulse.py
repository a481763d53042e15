"""The RC pulse: the angle by the width alone, within the sheet's limits, and who leads."""

from __future__ import annotations

import random
from collections.abc import Callable
from itertools import pairwise
from typing import Any

import pytest

from geartender.build.pulse import PulseScale
from geartender.firmware import tick
from geartender.firmware.lead import ALONE_US
from geartender.firmware.plan import wrapped
from geartender.firmware.pulse import ACQUIRED, UNIT, Pulse
from geartender.firmware.settings import Settings
from geartender.simulator.pulses import Sender
from tests.firmware.checked import check_ticks
from tests.firmware.interpreter import micropython
from tests.firmware.kit import TICK_S, VENT, Bench, rigid, sheet_with

FIELDS = {"pulse_enabled": 1, "pulse_min_us": 1000, "pulse_mid_us": 1500, "pulse_max_us": 2000, "pulse_lost_ms": 100}
PULSED = sheet_with(pulse={"min_us": 1000})
LOST_S = 0.1
STRIDE = 5
"""Ticks between the places that a jerk is read off: from tick to tick it would be lost in the reference's last binary place."""


def made(**changes: int) -> Pulse:
    """The input alone, its place in counts being the width in µs less 1000."""
    settings = Settings([0] * tick.WORDS)
    given = {**FIELDS, "pulse_from": 0, "pulse_to": 1000, **changes}
    assert settings.store([f"{name}={value}" for name, value in given.items()]) is None
    return Pulse(settings)


def fed(pulse: Pulse, widths: list[float], frame_us: int = 20_000) -> Pulse:
    """The input after these widths, a frame apart."""
    for number, width in enumerate(widths):
        now = number * frame_us
        pulse.step(now)
        pulse.take(round(width * UNIT), now)
    return pulse


def place(pulse: Pulse) -> float:
    return pulse.place() / 65536


# The width alone


@pytest.mark.parametrize("frame_us", [6_000, 14_000, 25_000])
def test_every_width_in_steps_of_a_microsecond_is_its_own_place(frame_us: int) -> None:
    for first in range(900, 2100, 150):
        pulse = fed(made(), [first] * ACQUIRED, frame_us)
        now = ACQUIRED * frame_us
        for width in range(first, first + 151):
            for _ in range(60):
                now += frame_us
                pulse.take(width * UNIT, now)
            assert place(pulse) == pytest.approx(min(max(width - 1000, 0), 1000), abs=0.26)


@pytest.mark.parametrize("seed", range(4))
def test_trembling_lost_and_doubled_pulses_change_the_place_little(seed: int) -> None:
    dice = random.Random(seed)
    pulse, now, seen = made(), 0, []
    for number in range(1500):
        now += dice.randrange(6_000, 25_000)
        event = dice.random()
        pulse.step(now)
        if event < 0.05:
            continue
        width = 1400 + dice.uniform(-20, 20)
        pulse.take(round(width * UNIT), now)
        if event > 0.95:
            pulse.take(round(width * UNIT), now + 2_500)
        elif event > 0.92:
            pulse.take(round(2 * width * UNIT), now + 4_000)
        if number > 50:
            assert pulse.present
            seen.append(place(pulse))
    assert max(abs(one - 400) for one in seen) < 20
    assert sum(abs(one - 400) for one in seen) / len(seen) < 5


def test_a_single_wrong_width_is_not_followed_and_a_step_is_after_two() -> None:
    pulse = fed(made(), [1200] * 20)
    pulse.take(1800 * UNIT, 400_000)
    assert place(pulse) == 200
    pulse.take(1200 * UNIT, 420_000)
    for now in (440_000, 460_000):
        pulse.take(1800 * UNIT, now)
    assert place(pulse) == 800


@pytest.mark.parametrize("middle", [1400, 1500, 1650])
def test_a_middle_off_centre_bends_neither_end(middle: int) -> None:
    pulse = made(pulse_mid_us=middle)
    for width, expected in ((1000, 0), (middle, 500), (2000, 1000), (900, 0), (2100, 1000)):
        assert place(fed(pulse, [width] * 9)) == pytest.approx(expected, abs=0.01)
        pulse._forget()


def test_noise_is_no_pulse_and_a_loose_wire_never_becomes_one() -> None:
    pulse = fed(made(), [*[1500] * (ACQUIRED - 1), 30, *[1500] * (ACQUIRED - 1)])
    assert not pulse.present
    assert pulse.dropped == 1
    assert fed(made(), [700, 2300, 3000, 5] * 20).us() == 0


def test_a_pulse_is_lost_after_the_sheets_time_and_back_after_some_good_ones() -> None:
    pulse = fed(made(), [1500] * ACQUIRED)
    last = (ACQUIRED - 1) * 20_000
    pulse.step(last + 100_000)
    assert pulse.present
    pulse.step(last + 100_001)
    assert not pulse.present
    assert pulse.us() == 0


def test_widths_that_do_not_rise_are_no_input() -> None:
    assert not fed(made(pulse_mid_us=2000), [1500] * 20).present


# The lever


def led(sheet: Any = PULSED, **more: Any) -> Bench:
    """A servo that is homed and hands the lead to the pulse."""
    bench = Bench(rigid(sheet), sheet, **more).ready()
    assert bench.ask("lead", 1, bench.after(0.2)) == ["ok"]
    return bench


def rested(bench: Bench, us: float) -> None:
    """Send pulses of that width until the lever rests where they say."""
    bench.sim.sender.width_us = us
    bench.run(0.3)
    assert bench.until(lambda: bench.telemetry["state"] == "ready", 40.0)
    bench.run(0.05)


def asked_deg(bench: Bench, us: float) -> float:
    assert bench.sheet.pulse is not None
    scale = PulseScale.of(bench.sheet.pulse, bench.sheet.travel)
    assert scale is not None
    return scale.deg(us)


@pytest.mark.parametrize(
    "changes",
    [
        {},
        {"pulse": {"min_us": 900, "max_us": 2100, "min_deg": 70.0, "max_deg": 5.0}},
        {
            "limits": {"speed_deg_s": 20.0, "accel_deg_s2": 200.0, "jerk_deg_s3": 20_000.0},
            "rest": {"after_move": "hold"},
        },
        {"limits": {"speed_deg_s": 12.0, "accel_deg_s2": 8.0, "jerk_deg_s3": 4.0}},
    ],
    ids=["as it is", "the other way round", "hard limits, held", "soft limits"],
)
def test_the_lever_goes_where_the_width_says_within_speed_acceleration_and_jerk(
    changes: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    check_ticks(monkeypatch)
    bench = led(sheet_with(PULSED, **changes))
    limits = bench.sheet.limits
    assert limits is not None
    most = [0.0, 0.0, 0.0]
    seen: list[float] = []

    def watch() -> None:
        s = bench.state
        if s[tick.MODE] == tick.FOLLOW:
            seen.append((wrapped(s[tick.R_INT]) + s[tick.R_FRAC] / 2**24) / bench.per_deg)
            row = seen[-3 * STRIDE - 1 :: STRIDE]
            for order in range(3):
                row = [(b - a) / TICK_S / STRIDE for a, b in pairwise(row)]
                if row:
                    most[order] = max(most[order], abs(row[-1]))
        else:
            seen.clear()

    step = bench.step
    bench.step = lambda: (step(), watch())  # type: ignore[method-assign, assignment, func-returns-value]
    dice = random.Random(3)
    bench.run(0.2)
    for _ in range(6):  # a hand on the stick: new places before the old one is reached
        bench.sim.sender.width_us = dice.uniform(900, 2100)
        bench.run(dice.uniform(0.05, 1.0))
    for us in (1437.0, 1438.0):
        rested(bench, us)
        assert bench.angle_deg == pytest.approx(asked_deg(bench, us), abs=1.01 / bench.per_deg)
        assert abs(bench.off_counts) <= 1
    for value, limit in zip(most, (limits.speed_deg_s, limits.accel_deg_s2, limits.jerk_deg_s3), strict=True):
        assert 0.3 * limit < value <= limit * 1.01


@pytest.mark.parametrize("seed", range(3))
def test_a_trembling_sender_with_gaps_makes_no_jump(seed: int) -> None:
    dice = random.Random(seed)
    bench = led()

    class Trembling(Sender):
        def ended(self, now_us: int) -> int:
            if now_us < self._due_us:
                return 0
            self._due_us = now_us + dice.randrange(6_000, 25_000)
            return 0 if dice.random() < 0.1 else round((1500 + dice.uniform(-20, 20)) * UNIT)

    bench.sim.sender = Trembling()
    bench.run(4.0)
    limits = bench.sheet.limits
    assert limits is not None
    speed = round(limits.speed_deg_s * bench.per_deg * TICK_S * 2**24)
    for _ in range(1500):
        bench.step()
        assert abs(bench.state[tick.D1_HIGH]) <= speed
        assert abs(bench.angle_deg - 37.5) < 1.5
    assert bench.telemetry["source"] == "pulse"


def test_the_reference_ends_in_the_middle_of_the_aims_cell_from_any_start() -> None:
    bench = led()
    for us in (1111.0, 1112.0, 1890.0):
        rested(bench, us)
        assert bench.state[tick.AIM] == bench.state[tick.COUNT]


def test_a_lever_that_was_pushed_at_rest_comes_back() -> None:
    bench = led()
    rested(bench, 1600.0)
    there = bench.angle_deg
    bench.sim.mechanics._motor += 1.3
    bench.sim.mechanics._output += 1.3 / bench.sim.plant.gear.ratio
    assert bench.until(lambda: bench.telemetry["state"] == "moving", 0.5)
    assert bench.until(lambda: bench.telemetry["state"] == "ready", 3.0)
    assert bench.angle_deg == pytest.approx(there, abs=1.01 / bench.per_deg)


# Who leads


def boot(sheet: Any = PULSED) -> Bench:
    """A board that kept its settings, started with no host."""
    bench = Bench(rigid(sheet), sheet)
    bench.run(0.1)
    bench.sim.command("reset")
    bench.sim._board.core.period_ms = 10  # type: ignore[attr-defined]
    bench.silent = True
    return bench


def homing_allowed() -> Any:
    return sheet_with(PULSED, pulse={"may_home": True})


def test_with_no_host_and_the_owners_leave_it_homes_at_the_first_pulse_and_follows() -> None:
    bench = boot(homing_allowed())
    rested_at = bench.sim.truth().output_deg
    bench.run(ALONE_US / 1e6 + 1.0)
    assert bench.sim.truth().output_deg == rested_at
    bench.sim.command("pulse 1800")
    assert bench.until(lambda: bench.telemetry["state"] == "homing", 0.5)
    assert bench.until(lambda: bench.telemetry["homed"] == 1, 60.0)
    bench.run(0.5)
    assert bench.until(lambda: bench.telemetry["state"] == "ready", 10.0)
    assert bench.angle_deg == pytest.approx(asked_deg(bench, 1800), abs=1.01 / bench.per_deg)
    assert bench.telemetry["source"] == "pulse"


def test_without_that_leave_no_pulse_moves_it_before_it_is_homed() -> None:
    bench = boot()
    rested_at = bench.sim.truth().output_deg
    bench.sim.command("pulse 1800")
    bench.run(ALONE_US / 1e6 + 3.0)
    assert bench.sim.truth().output_deg == rested_at
    assert (bench.telemetry["state"], bench.telemetry["source"]) == ("disarmed", "host")


def test_a_host_that_has_greeted_keeps_the_lead_whatever_comes_in() -> None:
    bench = Bench(rigid(PULSED), PULSED)
    bench.sim.command("pulse 1800")
    bench.run(ALONE_US / 1e6 + 1.0)
    bench.arm()
    assert (bench.telemetry["source"], bench.telemetry["pulse"]) == ("host", 1800)
    bench.home()
    at = bench.angle_deg
    bench.run(1.0)
    assert bench.angle_deg == pytest.approx(at, abs=2.01 / bench.per_deg)


def test_a_sheet_with_no_pulse_never_hands_over() -> None:
    bench = Bench().ready()
    bench.sim.command("pulse 1800")
    bench.run(0.5)
    assert bench.ask("lead", 1, bench.after(0.2)) == ["no", "pulseless"]
    assert bench.telemetry["pulse"] == 0


def test_the_lead_goes_over_only_at_rest_homed_and_in_time() -> None:
    bench = Bench(rigid(PULSED), PULSED)
    assert bench.ask("lead", 1, bench.after(0.2)) == ["no", "homeless"]
    bench.ready()
    assert bench.ask("lead", 1, bench.after(-0.1)) == ["no", "late"]
    assert bench.ask("lead", 2, bench.after(0.2)) == ["no", "range", "source"]
    assert bench.queue(5, bench.path(30.0), bench.after(0.1)) == ["ok"]
    assert bench.ask("lead", 1, bench.after(0.2)) == ["no", "busy"]
    assert bench.ask("lead", 0, bench.after(0.2)) == ["ok"]


def test_a_host_that_greets_while_the_pulse_leads_disturbs_nothing() -> None:
    bench = led()
    rested(bench, 1300.0)
    assert bench.hello("00000001")[0] == "ok"
    bench.ask("rate", 10)
    bench.run(0.1)
    assert (bench.telemetry["state"], bench.telemetry["source"]) == ("ready", "pulse")
    rested(bench, 1400.0)
    assert bench.angle_deg == pytest.approx(asked_deg(bench, 1400), abs=1.01 / bench.per_deg)


@pytest.mark.parametrize("words", [("home", 9), ("turn", 9), ("jog", 9), ("plan", 9)])
def test_the_hosts_motions_are_refused_while_the_pulse_leads(words: tuple[object, ...]) -> None:
    bench = led()
    rested(bench, 1300.0)
    more = {"home": (), "turn": (100, 0), "jog": (100,), "plan": (0, 1)}[str(words[0])]
    assert bench.ask(*words, bench.after(0.2), *more) == ["no", "led"]


@pytest.mark.parametrize("verb", ["arm", "lead"])
def test_the_host_takes_the_lead_in_mid_move_and_it_comes_to_rest_armed(verb: str) -> None:
    bench = led()
    bench.sim.command("pulse 2000")
    bench.run(1.0)
    assert bench.telemetry["state"] == "moving"
    fields = (bench.after(0.2),) if verb == "arm" else (0, bench.after(0.2))
    assert bench.ask(verb, *fields) == ["ok"]
    assert (bench.telemetry["state"], bench.telemetry["source"]) == ("stopping", "host")
    assert bench.until(lambda: bench.telemetry["state"] == "ready", 2.0)
    at = bench.angle_deg
    bench.run(1.0)
    assert bench.angle_deg == pytest.approx(at, abs=2.01 / bench.per_deg)
    assert at < 70
    assert bench.move(9, 20.0)["how"] == "done"


@pytest.mark.parametrize(
    ("act", "state"),
    [
        (lambda bench: bench.raw("stop 0 1"), "disarmed"),
        (lambda bench: bench.raw("stop 1 1"), "disarmed"),
        (lambda bench: bench.raw("stop 2 1"), "ready"),
        (lambda bench: bench.send("disarm"), "disarmed"),
        (lambda bench: bench.sim.command("jam"), "faulted"),
    ],
    ids=["stop 0", "stop 1", "stop 2", "disarm", "jam"],
)
@pytest.mark.parametrize("moving", [True, False], ids=["moving", "at rest"])
def test_a_stop_or_a_fault_ends_the_lead_for_good(act: Callable[[Bench], Any], state: str, moving: bool) -> None:
    bench = led()
    if moving:
        bench.sim.command("pulse 2000")
        bench.run(1.0)
    else:
        rested(bench, 1300.0)
    if state == "faulted" and not moving:
        bench.sim.command("pulse 1600")
    act(bench)
    assert bench.until(lambda: bench.telemetry["state"] == state, 3.0)
    bench.sim.command("free")
    bench.run(2.0)
    assert (bench.telemetry["state"], bench.telemetry["source"]) == (state, "host")


def test_no_stop_and_no_power_up_lets_a_stopped_servo_start_by_itself_again() -> None:
    bench = boot(homing_allowed())
    bench.sim.command("pulse 1800")
    assert bench.until(lambda: bench.telemetry.get("state") == "homing", 5.0)
    bench.raw("stop 0 1")
    bench.run(3.0)
    assert (bench.telemetry["state"], bench.telemetry["source"]) == ("disarmed", "host")


@pytest.mark.parametrize(("on_lost", "state"), [("stop", "disarmed"), ("hold", "ready")])
@pytest.mark.parametrize("moving", [True, False], ids=["moving", "at rest"])
def test_a_lost_pulse_stops_as_the_sheet_says_and_a_new_one_goes_on(on_lost: str, state: str, moving: bool) -> None:
    bench = led(sheet_with(PULSED, pulse={"on_lost": on_lost}))
    rested(bench, 1100.0)
    if moving:
        bench.sim.command("pulse 2000")
        bench.run(1.0)
    bench.sim.command("pulse off")
    bench.run(LOST_S - 0.03)
    assert bench.telemetry["state"] == ("moving" if moving else "ready")
    assert bench.until(lambda: bench.telemetry["state"] == state and bench.telemetry["pulse"] == 0, 1.5)
    at = bench.angle_deg
    assert at < 60
    bench.run(0.5)
    assert bench.angle_deg == pytest.approx(at, abs=2.01 / bench.per_deg)
    assert bench.telemetry["source"] == "pulse"
    rested(bench, 1200.0)
    assert bench.angle_deg == pytest.approx(asked_deg(bench, 1200), abs=1.01 / bench.per_deg)


def test_the_hosts_silence_means_nothing_while_the_pulse_leads_and_counts_again_after() -> None:
    bench = led()
    bench.silent = True
    rested(bench, 1900.0)
    bench.run(1.0)
    assert (bench.telemetry["state"], bench.telemetry["fault"]) == ("ready", "none")
    bench.silent = False
    assert bench.ask("lead", 0, bench.after(0.2)) == ["ok"]
    bench.silent = True
    bench.run(0.5)
    assert bench.telemetry["state"] == "disarmed"


def test_new_settings_end_the_lead() -> None:
    bench = led()
    rested(bench, 1300.0)
    bench.sim.command("pulse off")
    assert bench.until(lambda: bench.telemetry["state"] == "disarmed", 1.0)
    assert bench.ask("set", "pulse_lost_ms=200") == ["ok"]
    bench.sim.command("pulse 1300")
    bench.run(1.0)
    assert (bench.telemetry["state"], bench.telemetry["source"]) == ("disarmed", "host")


def hour(bench: Bench) -> list[bytes]:
    """Some following; the bytes heard of it, tick by tick."""
    bench.ready()
    assert bench.ask("lead", 1, bench.after(0.2)) == ["ok"]
    for us in (1500.0, 1503.0, 1000.0):
        bench.sim.sender.width_us = us
        bench.run(0.9)
    bench.sim.command("pulse off")
    bench.run(0.8)
    return bench.heard


@micropython
def test_micropython_follows_by_the_same_bytes() -> None:
    ours, theirs = Bench(rigid(PULSED), PULSED), Bench(rigid(PULSED), PULSED, micropython=True)
    try:
        assert hour(ours) == hour(theirs)
    finally:
        theirs.sim.close()


@pytest.mark.parametrize("at", [0, tick.HALF, -100, -1000])
def test_the_count_comes_round_while_it_is_followed(at: int) -> None:
    def walk(count: int) -> list[tuple[int, int, int]]:
        bench = Bench(rigid(PULSED, start_deg=2.0), PULSED, greet=False)
        bench.state[tick.COUNT] = bench.state[tick.X_INT] = count & tick.MASK
        bench.sim._count_at_boot = -count
        bench.hello()
        bench.give_settings()
        bench.ask("rate", 10)
        bench.ready()
        bench.ask("lead", 1, bench.after(0.2))
        bench.sim.command("pulse 1300")
        seen = []
        for _ in range(1200):
            bench.step()
            s = bench.state
            seen.append(((s[tick.COUNT] - count) & tick.MASK, (s[tick.R_INT] - count) & tick.MASK, s[tick.D1_HIGH]))
        return seen

    assert walk(at) == walk(5000)


def test_the_examples_sheet_has_no_pulse_and_so_none_is_listened_to() -> None:
    assert VENT.pulse is None
    assert Bench().settings["pulse_enabled"] == 0
