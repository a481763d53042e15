"""Every intermediate of the tick fits 32 bits: at home in the example, at the top of what is promised, and at any settings."""

import random

import pytest

from geartender.firmware import settings, tick
from geartender.firmware.core import Core
from geartender.firmware.follow import prepare
from geartender.firmware.plan import ACCEL_TOP, JERK_TOP, PIECE_US_MAX, SPEED_TOP, Plan
from geartender.servo.settings import speed_limit
from tests.benchmarks.tick import BUDGET_US, beside_the_tick, cost_us, operations
from tests.firmware.checked import HIGH, LOW, Checked, Overflow, Words, check_ticks
from tests.firmware.kit import FINE, Bench, rigid, sheet_with

COUNT_RATE = 25_000
"""Counts per s: the most that is promised."""
TORTURES = 160
TICKS = 80


@pytest.fixture(autouse=True)
def _checked(monkeypatch):
    check_ticks(monkeypatch)


def fast_sheet():
    """A build whose motor turns the disc at the highest count rate, limits at what an override may make of them."""
    marks = round(COUNT_RATE / (4600 / 60) / 4)
    sheet = sheet_with(disc={"marks_per_turn": marks}, load={"gravity_nm": 0.0})
    return sheet_with(sheet, limits={"speed_deg_s": 20.0, "accel_deg_s2": 60.0, "jerk_deg_s3": 600.0})


def test_the_checking_number_finds_what_the_chip_would_lose():
    number = Checked(HIGH)
    assert (number >> 16, number // -2, -number) == (32767, -(1 << 30), LOW + 1)
    for wrong in (
        lambda: number + 1,
        lambda: 2 * number,
        lambda: number << 1,
        lambda: -2 - number,
        lambda: -(Checked(LOW)),
    ):
        with pytest.raises(Overflow):
            wrong()
    with pytest.raises(Overflow):
        Words([0])[0] = 1 << 31


@pytest.mark.parametrize("sheet", [pytest.param(sheet_with(), marks=pytest.mark.slow), fast_sheet()])
def test_a_whole_day(sheet):
    bench = Bench(rigid(sheet, start_deg=2.0), sheet, settings={"home_slow": 1 << 24}).ready()
    for motion, target in enumerate((40.0, 25.0), 2):
        assert bench.move(motion, target)["how"] == "done"
    fastest = round(speed_limit(sheet) * bench.per_deg * FINE)
    assert bench.ask("turn", 6, bench.after(0.2), -fastest, 400_000) == ["ok"]
    assert bench.until(lambda: bench.telemetry["ended"] == 6)
    assert bench.ask("jog", 7, bench.after(0.2), fastest) == ["ok"]
    bench.run(1.0)
    bench.raw("stop 2 1")
    assert bench.until(lambda: bench.telemetry["state"] == "ready")
    assert bench.ask("turn", 8, bench.after(0.2), round(fastest * 0.6), 0) == ["ok"]
    bench.run(0.8)
    bench.raw("stop 1 2")
    assert bench.until(lambda: bench.telemetry["state"] == "disarmed")
    bench.arm()
    assert bench.queue(9, bench.path(10.0), bench.after(0.1)) == ["ok"]
    bench.run(0.6)
    bench.sim.command("jam")
    assert bench.until(lambda: bench.telemetry["state"] == "faulted", 3.0)
    assert bench.ask("reset") == ["ok"]
    bench.sim.command("free")
    bench.arm()
    assert bench.move(10, 20.0)["how"] == "done"


def test_a_jam_that_no_guard_ends_at_the_largest_gains():
    """The error, its integral and the current stand at their bounds, at full speed when it comes and when it goes."""
    sheet = fast_sheet()
    wild = {f"{name}_num": 4095 for name in ("kp", "ki", "ka", "ke", "ri", "kj")}
    wild |= {"kp_shift": 0, "ki_shift": 0, "following_counts": 100_000, "overload_ms": 10_000, "stall_ms": 10_000}
    wild |= {"overload_ease": 1, "damping": 2048, "wrong_way_counts": 10_000, "jam_speed": 4_194_303}
    bench = Bench(rigid(sheet, stops=None), sheet, settings={**wild, "travel_margin": 1_000_000})
    bench.arm()
    for sign in (1, -1):
        fastest = sign * round(speed_limit(sheet) * bench.per_deg * FINE)
        assert bench.ask("turn", 2, bench.after(0.2), fastest, 0) == ["ok"]
        bench.run(0.5)
        bench.sim.command("jam")
        bench.run(2.0)
        bench.sim.command("free")
        bench.run(0.5)
    assert bench.telemetry["state"] == "turning"


def any_settings(dice):
    """All settings, each at an end of its range or within it, as the firmware takes them; now and then the largest gains."""
    fields = []
    largest = dice.random() < 0.4
    for name, low, high in settings.TABLE + settings.PULSE:
        value = dice.choice((low, high, dice.randint(low, high)))
        if largest and name.endswith(("_num", "_shift")) and name != "heat_num":
            value = 4095 if name.endswith("_num") else 0
        fields.append(f"{name}={value or 1 if name in ('polarity', 'home_way') else value}")
    return fields


def any_queue(dice, core):
    """A queue of up to three pieces that do whatever `add` lets through, its last words handed to the tick."""
    s = core.state
    plan = Plan(dice.randint(1, tick.MASK), s[tick.NOW] + dice.randrange(4000, 9000), 3)
    state = (core.reference(), dice.choice((0, SPEED_TOP, -SPEED_TOP)))
    for _ in range(3):
        acceleration, jerk = (dice.choice((0, top, -top, dice.randint(-top, top))) for top in (ACCEL_TOP, JERK_TOP))
        duration = dice.choice((dice.randint(1, 30_000), PIECE_US_MAX))
        if plan.add(duration, *state, acceleration, jerk) is None:
            last = plan.pieces[-1]
            state = (last.position_at(duration), last.speed_at(duration))
    if plan.pieces:
        s[tick.ARG_T], s[tick.ARG_ROW], s[tick.ARG_END] = plan.write(core.queue, 0, s[tick.NOW])
        s[tick.ARG_MOTION] = plan.motion
        s[tick.ARG_INT] = (plan.end() >> 16) & tick.MASK
        core.post(tick.C_PLAN)


def any_command(dice, core):
    """Ask the tick for something."""
    s = core.state
    wanted = dice.randrange(10)
    if wanted == 0:
        any_queue(dice, core)
    elif wanted < 4:
        speed = dice.choice((-1, 0, 1)) * s[tick.S_MAX_SPEED]
        label = dice.choice((tick.TURNING, tick.JOGGING, tick.HOMING))
        core.ramp(label, dice.randint(1, tick.MASK), speed, dice.choice((0, 10)), tick.STAY)
    elif wanted == 4:
        s[tick.ARG_AFTER] = dice.choice((tick.STAY, tick.REMOVE))
        core.post(tick.C_STOP)
    elif wanted == 5:
        core.homed(dice.randint(0, tick.MASK), 0)
    elif wanted == 6:
        s[tick.AIM] = dice.choice((s[tick.COUNT], dice.randint(0, tick.MASK)))
        if s[tick.MODE] == tick.REST:
            prepare(core)
            s[tick.AIM_ON] = 1
    elif wanted == 7:
        s[tick.HELD] = dice.choice((1, -1))
    elif s[tick.MODE] == tick.OFF:
        s[tick.FAULT] = 0
        core.post(tick.C_ARM)


@pytest.mark.parametrize("seed", range(8))
def test_any_settings_any_counts_any_commands(seed):
    dice = random.Random(seed)
    driven = eased = 0
    for _ in range(TORTURES // 8):
        core = Core("tortured", "0")
        while core.settings.store(any_settings(dice)) is not None:
            pass
        s = core.state
        s[tick.COUNT_IN] = s[tick.COUNT] = s[tick.X_INT] = dice.choice((0, tick.HALF, tick.MASK))
        rate = 0
        for _ in range(TICKS):
            if dice.random() < 0.1:
                rate = dice.choice((0, 50, -50, dice.randint(-900, 900), dice.randint(0, tick.MASK)))
            s[tick.COUNT_IN] = (s[tick.COUNT_IN] + rate) & tick.MASK
            s[tick.SUPPLY_IN] = dice.choice((0, 1, 1000, 12_000, 60_000))
            s[tick.HOME_IN] = int(dice.random() < 0.2)
            s[tick.ILLEGAL_IN] = dice.choice((0, 0, 0, tick.MASK))
            s[tick.SILENT] = dice.choice((0, 0, 500))
            if s[tick.COMMAND] == 0 and dice.random() < 0.3:
                any_command(dice, core)
            core.verbs.step()
            core.tick()
            eased += s[tick.MODE] == tick.EASE
            driven += s[tick.BRIDGE_OUT]
            assert -10_000 <= s[tick.DUTY_OUT] <= 10_000
    assert driven > TICKS, "it must have been driven to show anything"
    assert eased > 0, "and held up"


@pytest.mark.parametrize(
    ("speed", "acceleration", "jerk"),
    [
        (SPEED_TOP + 1, 0, 0),
        (0, ACCEL_TOP + 1, 0),
        (0, 0, JERK_TOP + 1),
        (0, ACCEL_TOP, 1_000_000_000),
        (0, SPEED_TOP, -2 * SPEED_TOP),
    ],
)
def test_a_piece_that_the_tick_could_not_hold_is_refused_also_for_what_it_does_in_its_midst(speed, acceleration, jerk):
    assert Plan(1, 0, 1).add(10_000_000, 0, speed, acceleration, jerk) == "range"


def test_numbers_that_the_chip_could_not_hand_on_without_heap_are_refused():
    bench = Bench()
    bench.arm()
    for words in (("turn", 1 << 30, bench.after(0.2), 0, 0), ("turn", 5, bench.after(0.2), 0, 2000 << 30)):
        assert bench.ask(*words)[:2] == ["no", "range"]
    assert bench.ask("turn", (1 << 30) - 1, bench.after(0.2), 0, (2000 << 30) - 2000) == ["ok"]


@pytest.mark.slow
def test_a_tick_costs_no_more_than_its_budget(monkeypatch):
    monkeypatch.undo()
    most = max(cost_us(row) for rows in operations().values() for row in rows)
    assert 0 < most + cost_us(beside_the_tick()) <= BUDGET_US
