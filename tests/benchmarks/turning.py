"""Turns an endless output thousands of times, over the wraps of time and count, and says whether anything has drifted.

python tests/benchmarks/turning.py [--turns 10000] | --days 30: some minutes for ten thousand turns, a quarter of an hour for thirty days.
What is simulated is every tick of the firmware on the mechanics; the home mark audits the count once a turn, and the truth of the
mechanics is held against it at the end. For days the firmware's tick is compiled, and the mechanics are a motor alone.
"""

import argparse
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from geartender.firmware import tick
from geartender.firmware.lines import encode
from geartender.firmware.names import CAUSES
from tests.firmware.kit import FINE, TICK_S, Bench, rigid, sheet_with

DEG_S = 5000.0
BEFORE_WRAP_US = 60_000_000
"""µs before the wrap of the firmware's time at which the turning begins."""
BEAT_TICKS = 100
"""Ticks from one word of the host to the next: it may be silent for no longer than a quarter of a second."""


def main() -> int:
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("--turns", type=int, default=10_000)
    options.add_argument("--days", type=float)
    given = options.parse_args()
    found = turned(given.turns) if given.days is None else turned_for(given.days * 86_400)
    print(
        f"{found['turns']} turns in {found['ticks']} ticks: fault {found['fault']}, {found['marks']} audits by the home mark, at most"
        f" {found['audit']} counts off; count against the truth {found['drift']} counts, reference against the count"
        f" {found['behind']:.2f} counts at most after the start"
    )
    return 1 if found["fault"] != "none" or found["drift"] or found["marks"] < found["turns"] - 2 else 0


def turned(turns: int) -> dict[str, object]:
    """Turn down, so that the count crosses its wrap at once, for so many turns of the output."""
    bench = homed()
    count, truth, marks = bench.telemetry["count"], bench.sim.truth().motor_counts, bench.telemetry["marks"]
    start = bench.ticks
    turn_down(bench)
    behind, audit = 0.0, 0
    aim = truth - round(turns * 360 * bench.per_deg)
    while bench.sim.truth().motor_counts > aim and bench.telemetry["fault"] == "none":
        bench.run(1.0)
        behind = max(behind, abs(bench.telemetry["reference"] / FINE - bench.telemetry["count"] - 0.5))
        audit = max(audit, abs(bench.state[tick.AUDIT_OFF]))
    bench.raw("stop 2 1")
    bench.until(lambda: bench.telemetry["state"] == "ready")
    bench.run(0.2)
    return {
        "turns": turns,
        "ticks": bench.ticks - start,
        "fault": bench.telemetry["fault"],
        "marks": bench.telemetry["marks"] - marks,
        "audit": audit,
        "drift": bench.telemetry["count"] - count - (bench.sim.truth().motor_counts - truth),
        "behind": behind,
    }


def turned_for(seconds: float) -> dict[str, object]:
    """The same for so many seconds, the first of them on the mechanics."""
    from tests.firmware.compiled import Motor  # compiles, and is not for every interpreter

    bench = homed()
    turn_down(bench)
    core = bench.core
    motor = Motor(core, bench.sim.mechanics)
    per_turn = round(360 * bench.per_deg)
    count, truth, marks = core.total, motor.counts, bench.state[tick.MARKS]
    behind, audit, ticks = 0.0, 0, 0
    while ticks < seconds / TICK_S and bench.state[tick.FAULT] == 0:
        motor.run(BEAT_TICKS)
        ticks += BEAT_TICKS
        core.receive(encode(f"{bench.next_id()} beat"))
        core.step()
        behind = max(behind, abs(core.reference() / FINE - core.total - 0.5))
        audit = max(audit, abs(bench.state[tick.AUDIT_OFF]))
    drift = core.total - count - (motor.counts - truth)
    return {
        "turns": (truth - motor.counts) // per_turn,
        "ticks": ticks,
        "fault": CAUSES[bench.state[tick.FAULT]],
        "marks": (bench.state[tick.MARKS] - marks) & tick.MASK,
        "audit": audit,
        "drift": drift,
        "behind": behind,
    }


def homed() -> Bench:
    """An endless output at rest, its clock a minute before it comes round."""
    bench = Bench(rigid(ENDLESS, start_deg=60.0, home={"width_deg": 45.0}), ENDLESS)
    bench.state[tick.NOW] = tick.MASK + 1 - BEFORE_WRAP_US
    bench.core.step()
    bench.run(0.1)
    return bench.ready()


def turn_down(bench: Bench) -> None:
    """Begin to turn, and come up to speed."""
    assert bench.ask("turn", 2, bench.after(0.2), -round(DEG_S * bench.per_deg * FINE), 0) == ["ok"]
    bench.run(1.0)


ENDLESS = sheet_with(
    mesh=[
        {"kind": "spur", "driver_teeth": 20, "driven_teeth": 60, "module_mm": 1.0, "face_mm": 8.0, "efficiency": 0.95}
    ],
    travel={"endless": True, "min_deg": None, "max_deg": None},
    limits={"speed_deg_s": DEG_S, "accel_deg_s2": 8000.0, "jerk_deg_s3": 60_000.0, "torque_nm": 0.02},
    load={"inertia_kg_m2": 1e-6, "gravity_nm": 0.0, "friction_nm": 0.001},
    overload={"torque_nm": 0.04},
    home={"speed_deg_s": 300.0},
)

if __name__ == "__main__":
    sys.exit(main())
