"""What control and guards do on three machines: figures against the mechanics' truth.

python tests/benchmarks/control.py [--machine NAME] [--moves N] [--jams N] [--ordinary N]
"""

import argparse
import random
import sys
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from geartender.build import figures
from tests.firmware.kit import FINE
from tests.firmware.measures import Record, mean_speed_off, move, turn, undriven_peak_nm
from tests.firmware.plants import MACHINES, Machine
from tests.firmware.test_control import ordinary_moves

MOVES_A_SEED = 10


def main() -> int:
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("--machine", choices=MACHINES)
    options.add_argument("--moves", type=int, default=20)
    options.add_argument("--jams", type=int, default=8)
    options.add_argument("--ordinary", type=int, default=1000, help="moves under up to 0.8 of the limit, uneven discs")
    given = options.parse_args()
    trips = 0
    for machine in MACHINES.values():
        if given.machine in (None, machine.name):
            print(f"\n{machine.name}: a limit of {machine.limit_nm:g} N·m")
            show_moves(machine, given.moves)
            show_turns(machine)
            show_jams(machine, given.jams)
            trips += show_ordinary(machine, given.ordinary)
    return 1 if trips else 0


def fresh(machine: Machine, seed: int = 0) -> Record:
    """A machine that is homed."""
    bench = Record(machine, seed)
    bench.ready()
    return bench


def show_moves(machine: Machine, moves: int) -> None:
    """Where moves end, and how they get there."""
    bench, dice, travel = fresh(machine), random.Random(1), machine.sheet.travel
    assert travel is not None
    made = [move(bench, number + 2, dice.uniform(travel.min_deg, travel.max_deg)) for number in range(moves)]
    for name, unit, scale in (
        ("end_counts", "counts off at the end", 1),
        ("following_counts", "counts behind on the way", 1),
        ("overshoot_counts", "counts of overshoot", 1),
        ("late_s", "s later than planned, 0.04 s of standing included", 1),
        ("torque_off", "% of the limit, torque off while accelerating", 100),
    ):
        values = [scale * getattr(one, name) for one in made]
        print(f"  {sum(values) / len(values):7.3f} mean {max(values):7.3f} most  {unit}")
    bench.run(1.0)
    rest = len(bench.rows)
    bench.run(1.0)
    print(f"  {len({row.duty for row in bench.since(rest)})} duty at rest in a second")


def show_turns(machine: Machine) -> None:
    """Speed and felt load of steady turns, and a load step."""
    travel, limits = machine.sheet.travel, machine.sheet.limits
    assert travel is not None
    assert limits is not None
    deg_s = limits.speed_deg_s / 2
    for share in (0.0, 0.25, 0.5):
        bench = fresh(machine)
        bench.move(2, travel.min_deg + 3)
        bench.sim.command(f"load {share * machine.limit_nm:g}")
        rows = turn(bench, 3, deg_s, 1.2)
        felt, true = (sum(getattr(row, name) for row in rows) / len(rows) for name in ("load_nm", "true_nm"))
        off = 100 * (felt - true) / machine.limit_nm
        held = 100 * mean_speed_off(bench, rows, deg_s)
        print(f"  load {share:4.2f} of the limit: speed off by {held:.2f} %, torque by {off:+.1f} % of the limit")
    bench = fresh(machine)
    bench.move(2, travel.min_deg + 3)
    bench.ask("turn", 3, bench.after(0.2), round(deg_s * bench.per_deg * FINE), 0)
    bench.run(0.8)
    stepped = len(bench.rows)
    bench.sim.command(f"load {0.5 * machine.limit_nm:g}")
    bench.run(0.8)
    rows = bench.since(stepped)
    behind = max(abs(row.behind) for row in rows)
    back = next((index for index in range(len(rows)) if max(abs(row.behind) for row in rows[index:]) < 1.5), None)
    when = "not" if back is None else f"after {back * 2} ms"
    print(f"  load step of half the limit: {behind:.1f} counts behind at most, back {when}, {bench.telemetry['fault']}")


def show_jams(machine: Machine, jams: int) -> None:
    """The highest torque on the teeth in sudden jams at full speed."""
    travel, limits = machine.sheet.travel, machine.sheet.limits
    assert travel is not None
    assert limits is not None
    peaks, causes = [], Counter[str]()
    for seed in range(jams):
        bench, dice = fresh(machine, seed), random.Random(seed)
        for number in range(2, 8):
            bench.move(number, dice.uniform(travel.min_deg, travel.max_deg))
        bench.move(20, travel.min_deg + 3)
        bench.ask("turn", 21, bench.after(0.2), round(limits.speed_deg_s * bench.per_deg * FINE), 0)
        bench.run(0.7 + 0.013 * seed)
        bench.sim.command("jam")
        jammed = len(bench.rows)
        bench.until(lambda bench=bench: bench.telemetry["state"] == "faulted", 2.0)
        peaks.append(max(abs(row.true_nm) for row in bench.since(jammed)))
        causes[str(bench.telemetry["fault"])] += 1
    energy, alone = figures(machine.sheet).sudden_stop_torque_nm, undriven_peak_nm(machine, 0, limits.speed_deg_s)
    assert energy is not None
    peak = max(peaks)
    print(f"  {jams} sudden jams: at most {peak:.1f} N·m on the teeth, {dict(causes)}")
    print(
        f"    {peak / energy:.2f} of what the rotor's energy makes by the figures, {peak / alone:.2f} of what it makes in"
    )
    print(f"    the mechanics with drive taken away at the jam, {peak / machine.limit_nm:.2f} of the limit")


def show_ordinary(machine: Machine, moves: int) -> int:
    """Ordinary moves that tripped something; 0 is right."""
    ends = Counter(end for seed in range(moves // MOVES_A_SEED) for end in ordinary_moves(machine, seed, MOVES_A_SEED))
    print(f"  ordinary moves under up to 0.8 of the limit: {dict(ends)}")
    return ends.total() - ends["done"]


if __name__ == "__main__":
    sys.exit(main())
