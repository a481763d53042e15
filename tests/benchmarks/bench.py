"""The bench against what it measures: random machines against their plant files, planted mistakes, and tuned against untuned.

python tests/benchmarks/bench.py plants [--count 60] | lever [--count 12] | mistakes [--seeds 8] | tuned [--count 12]
(each with --check and --first SEED)
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator

import numpy as np

from geartender.bench.procedures.first_power import first_power
from geartender.bench.procedures.measure import measure
from geartender.bench.procedures.positions import positions
from geartender.bench.procedures.warmth import warmth
from geartender.bench.procedures.weight import weight
from geartender.build.measured import Measured
from tests.bench.judge import Judged, Kept, judge
from tests.bench.kit import at_bench
from tests.bench.mistakes import MISTAKES, planted
from tests.bench.plants import machine
from tests.bench.tuning import tuned_against_untuned

COVERED = 0.90
"""Share of cases whose truth must lie within two stated standard uncertainties (k = 2)."""


def plants(seeds: range) -> bool:
    """Random machines, every third of a kind, every second with its motor swapped and the sheet saying so."""
    found: list[Judged] = []
    broken: list[str] = []
    failed = 0
    for seed in seeds:
        sheet, plant = machine(seed, swapped=seed % 2 == 1)
        kept = Kept()
        bench = at_bench(measure, sheet, plant, seed, truth=kept)
        broken += [f"seed {seed}: {text}" for text in kept.broken]
        if bench.measured is None:
            failed += 1
            print(f"seed {seed}: {bench.report.state}: {bench.report.reason}", flush=True)
            continue
        judged = judge(bench, sheet, plant, bench.measured)
        found.append(judged)
        outside = [
            f"{name} {judged.off[name]:+.3g}" for name, fine in judged.within.items() if not fine and name in judged.off
        ]
        print(f"seed {seed:2} {sheet.name:16} {'all within' if not outside else ', '.join(outside)}", flush=True)
    print(f"\n{len(found)} of {len(seeds)} machines measured; {len(broken)} announcements broken")
    for text in broken:
        print("  " + text)
    return failed == 0 and not broken and table(found)


def table(found: list[Judged]) -> bool:
    """Print how far off each value was; whether all are within their bounds, and covered often enough."""
    fine = True
    for name in sorted({name for one in found for name in one.off}):
        offs = [abs(one.off[name]) for one in found if name in one.off]
        within = [one.within[name] for one in found if name in one.within]
        sigmas = [abs(one.sigmas[name]) <= 2 for one in found if name in one.sigmas]
        share = f"within {np.mean(within):6.1%}" if within else " " * 13
        cover = f"covered (k = 2) {np.mean(sigmas):6.1%}" if sigmas else ""
        met = (not within or all(within)) and (not sigmas or float(np.mean(sigmas)) >= COVERED)
        print(
            f"{name:22} median {np.median(offs):8.3g}  worst {np.max(offs):8.3g}  {share}  {cover}"
            f"{'' if met else '   NOT MET'}"
        )
        fine = fine and met
    return fine


def lever(seeds: range) -> bool:
    """The lever's positions by a gauge, a known weight, and the winding's warmth, on machines that have been measured."""
    found: list[Judged] = []
    broken: list[str] = []
    for seed in seeds:
        sheet, plant = machine(seed)
        measured = at_bench(measure, sheet, plant, seed).measured
        for procedure in (positions, weight, warmth):
            kept = Kept()
            bench = at_bench(procedure, sheet, plant, seed, truth=kept, measured=measured)
            broken += [f"seed {seed}: {text}" for text in kept.broken]
            if bench.measured is None:
                broken.append(f"seed {seed}: {bench.report.state}: {bench.report.reason}")
                continue
            new = {
                name: one for name, one in bench.measured.values.items() if not measured or name not in measured.values
            }
            found.append(judge(bench, sheet, plant, Measured(values=new), ()))
        print(f"seed {seed:2} {sheet.name}", flush=True)
    print(f"\n{len(seeds)} machines; {len(broken)} announcements broken or procedures not done")
    for text in broken:
        print("  " + text)
    return table(found) and not broken


def mistakes(seeds: range) -> bool:
    """Every kind of mistake on so many machines."""
    wrong = list(_mistaken(seeds))
    print(f"{len(MISTAKES)} kinds, {len(seeds)} machines each: {len(wrong)} named otherwise")
    for text in wrong:
        print("  " + text)
    return not wrong


def _mistaken(seeds: range) -> Iterator[str]:
    for seed in seeds:
        for mistake in MISTAKES:
            sheet, plant, drop = planted(mistake, seed)
            kept = Kept()
            bench = at_bench(first_power, sheet, plant, seed, drop=drop, truth=kept)
            named = bench.report.wrong.kind if bench.report.wrong else bench.report.state.value
            if named != mistake.name:
                yield f"seed {seed}, {mistake.name}: {named}: {bench.report.reason}"
            for text in kept.broken:
                yield f"seed {seed}, {mistake.name}: {text}"
        print(f"seed {seed} done", flush=True)


def tuned(seeds: range) -> bool:
    """Following error and settling, by the sheet alone and as measured and tuned; and Ms on the true model."""
    fine = True
    print("seed  machine            rms before  after   settle before  after    Ms on the true model")
    for seed in seeds:
        sheet, plant = machine(seed)
        one = tuned_against_untuned(sheet, plant, seed)
        fine = fine and one.no_worse and one.ms <= 1.7
        print(
            f"{seed:4}  {sheet.name:16} {one.rms_before:10.3f}° {one.rms_after:6.3f}° {one.settle_before:9.2f} s {one.settle_after:8.2f} s"
            f"   {one.ms:.2f}{'' if one.no_worse else '   WORSE'}",
            flush=True,
        )
    return fine


SUBJECTS = {"plants": (plants, 60), "lever": (lever, 12), "mistakes": (mistakes, 8), "tuned": (tuned, 12)}
"""What can be asked for, and on how many machines it is done."""


def main() -> int:
    """Do what is asked for; with --check, 1 where something is not met."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("what", choices=list(SUBJECTS))
    parser.add_argument("--count", "--seeds", type=int, default=None, help="how many machines")
    parser.add_argument("--first", type=int, default=0, help="seed of the first of them")
    parser.add_argument("--check", action="store_true")
    given = parser.parse_args()
    does, usual = SUBJECTS[given.what]
    fine = does(range(given.first, given.first + (given.count or usual)))
    return 0 if fine or not given.check else 1


if __name__ == "__main__":
    sys.exit(main())
