"""Follows the RC pulse over the whole scale: every width, every frame, a sender that trembles, loses and doubles pulses.

python tests/benchmarks/pulse.py [--seeds 40] [--check]: some minutes. Errors are in µs of the pulse's width, and in counts of the lever.
"""

import argparse
import random
import sys
from itertools import pairwise
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from geartender.firmware import tick
from geartender.firmware.plan import wrapped
from geartender.firmware.pulse import UNIT
from geartender.simulator.pulses import Sender
from tests.firmware.kit import TICK_S, Bench, rigid, sheet_with
from tests.firmware.test_pulse import asked_deg, made, place

WIDTHS_US = range(900, 2101)
FRAMES_US = (6_000, 10_000, 14_000, 20_000, 25_000)
SETTLE_PULSES = 60
STEPS_PER_SEED = 12
STRIDE = 5
"""Ticks between the places that a jerk is read off: from tick to tick it would be lost in the reference's last binary place."""
SPARE = 1.01
"""What that last place may add to a limit."""


def main() -> int:
    arguments = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    arguments.add_argument("--seeds", type=int, default=40)
    arguments.add_argument("--check", action="store_true", help="End with 1 where a promise is not kept.")
    given = arguments.parse_args()
    width_error = widths()
    mean, most = trembling(given.seeds)
    shares, lever = following(given.seeds)
    print(f"{len(WIDTHS_US)} widths in {len(FRAMES_US)} frames: the place is off by {width_error:.2f} µs at the most")
    print(
        f"±20 µs, one pulse in ten lost, one in twenty doubled: off by {mean:.1f} µs in the mean, {most:.1f} µs at the most"
    )
    print(
        f"{given.seeds} hands on the stick: speed, acceleration, jerk at {', '.join(f'{s:.3f}' for s in shares)} of their limits"
    )
    print(f"  the lever ends {lever:.2f} counts from where the width says, at the most")
    kept = width_error <= 0.26 and most < 20 and max(shares) <= SPARE and lever <= 1.01
    return 0 if kept or not given.check else 1


def widths() -> float:
    """Every width in every frame, one after the other: how far off its place is at the most, a µs being a count here."""
    worst = 0.0
    for frame_us in FRAMES_US:
        pulse, now = made(), 0
        for width in WIDTHS_US:
            for _ in range(SETTLE_PULSES):
                now += frame_us
                pulse.take(width * UNIT, now)
            worst = max(worst, abs(place(pulse) - min(max(width - 1000, 0), 1000)))
    return worst


def trembling(seeds: int) -> tuple[float, float]:
    """How far off a steady width is, in the mean and at the most, where the sender does everything wrong."""
    off = []
    for seed in range(seeds):
        dice, pulse, now = random.Random(seed), made(), 0
        for number in range(500):
            now += dice.randrange(6_000, 25_001)
            event = dice.random()
            if event < 0.1:
                continue
            width = round((1400 + dice.uniform(-20, 20)) * UNIT)
            pulse.take(width, now)
            if event > 0.975:
                pulse.take(width, now + 2_500)
            elif event > 0.95:
                pulse.take(2 * width, now + 4_000)
            if number > 50:
                off.append(abs(place(pulse) - 400))
    return sum(off) / len(off), max(off)


def following(seeds: int) -> tuple[list[float], float]:
    """The highest speed, acceleration and jerk as shares of their limits, and how far from its place the lever ends."""
    shares, worst = [0.0, 0.0, 0.0], 0.0
    for seed in range(seeds):
        dice = random.Random(seed)
        limits = {
            "speed_deg_s": dice.uniform(5, 20),
            "accel_deg_s2": dice.uniform(10, 200),
            "jerk_deg_s3": 10 ** dice.uniform(1.5, 4.0),
        }
        sheet = sheet_with(pulse={"enabled": True}, limits=limits, home={"speed_deg_s": 5.0})
        bench = Bench(rigid(sheet), sheet).ready()
        bench.ask("lead", 1, bench.after(0.2))
        bench.sim.sender = Sender(dice.choice(FRAMES_US))
        places: list[float] = []
        for _ in range(STEPS_PER_SEED):
            bench.sim.sender.width_us = dice.uniform(900, 2100)
            for _ in range(dice.randrange(50, 900)):
                bench.step()
                note(bench, places, list(limits.values()), shares)
        bench.run(0.5)
        if not bench.until(lambda bench=bench: bench.telemetry["state"] == "ready", 60.0):
            raise SystemExit(f"seed {seed}: it never came to rest: {bench.telemetry}")
        width = bench.sim.sender.width_us
        worst = max(worst, abs(bench.angle_deg - asked_deg(bench, width)) * bench.per_deg)
    return shares, worst


def note(bench: Bench, places: list[float], limits: list[float], shares: list[float]) -> None:
    """Take the reference of this tick into the highest shares."""
    s = bench.state
    if s[tick.MODE] != tick.FOLLOW:
        places.clear()
        return
    places.append((wrapped(s[tick.R_INT]) + s[tick.R_FRAC] / 2**24) / bench.per_deg)
    row = places[-3 * STRIDE - 1 :: STRIDE]
    for order in range(3):
        row = [(b - a) / TICK_S / STRIDE for a, b in pairwise(row)]
        if row:
            shares[order] = max(shares[order], abs(row[-1]) / limits[order])


if __name__ == "__main__":
    sys.exit(main())
