"""Long runs on the simulated servo, unattended, in virtual time: `python -m tests.benchmarks.runs --check`.

Every step's result as it was stored is held against the mechanics' own account of where the output stood, and every duration
against the preview. `year` lives through a simulated year of an hourly entry without a servo, and looks at memory and database.
"""

from __future__ import annotations

import argparse
import asyncio
import gc
import random
import sys
import tempfile
import time
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from geartender.sequences.keeper import Timekeeper
from geartender.sequences.preview import preview_of
from geartender.sequences.runs import STEPS_PAGE
from geartender.sequences.timetable import TIMETABLE, Site
from geartender.store.journal_rows import Search
from tests.sequences.kit import CLOCK, House, in_house

STEPS_A_RUN = 1000
WITHIN_DEG = 1.2
"""deg; a count, and the play of the gears, which the mechanics have and the counter does not see."""

WITHIN_SHARE = 0.01


@dataclass
class Tally:
    """What was seen."""

    steps: int = 0
    runs: int = 0
    wrong: list[str] = field(default_factory=list)
    worst_deg: float = 0.0
    worst_share: float = 0.0
    late_steps: int = 0
    virtual_s: float = 0.0


def steps_of(dice: random.Random, number: int) -> list[dict[str, Any]]:
    """A list of so many random steps, each of which has a definite end."""
    steps: list[dict[str, Any]] = []
    while len(steps) < number:
        kind = dice.choice(("move", "move", "move", "wait", "check"))
        if kind == "move":
            steps.append({"do": "move", "to_deg": round(dice.uniform(2, 73), 2)})
        elif kind == "wait":
            steps.append({"do": "wait", "for_s": round(dice.uniform(0.1, 3), 2)})
        elif steps:
            steps.append({"do": "check", "angle_within_deg": 0.5})
    return steps


def run_steps(total: int, seed: int) -> Tally:
    """Run so many steps, in runs of a thousand, started by the timetable's own right to arm and home."""
    tally = Tally()

    async def scenario(house: House) -> None:
        await house.connected()
        await house.put("ready", [{"do": "home"}, {"do": "move", "to_deg": 5}])
        await house.done("ready", CLOCK)
        dice = random.Random(seed)
        began = house.world.monotonic()
        while tally.steps < total:
            number = min(STEPS_A_RUN, total - tally.steps)
            name = f"long-{tally.runs}"
            lists = [steps_of(dice, min(250, number - at)) for at in range(0, number, 250)]
            for index, steps in enumerate(lists):
                await house.put(f"{name}-{index}", steps)
            await house.put(name, [{"do": "run", "sequence": f"{name}-{index}"} for index in range(len(lists))])
            await _run(house, name, tally)
        tally.virtual_s = house.world.monotonic() - began

    in_house(scenario, unattended=["vent"], seed=seed)
    return tally


async def _run(house: House, name: str, tally: Tally) -> None:
    """One run with a witness beside it, who writes down where the output stood at the end of each step."""
    truth: dict[int, float] = {}

    def witness(step: dict[str, Any] | None) -> None:
        if step is not None and step["state"] == "done":
            truth[step["position"]] = house.sim.truth().output_deg

    announce = house.servo.announce
    house.servo.announce = lambda event, text, **more: (witness(more.get("step")), announce(event, text, **more))[1]  # type: ignore[method-assign]
    plan = await house.runs.plan(name, None)
    run = await house.start(name, CLOCK)
    await run.ended()
    house.servo.announce = announce  # type: ignore[method-assign]
    tally.runs += 1
    preview = preview_of(plan.found)
    report = await house.runs.report(run.id, limit=10 * STEPS_PAGE)
    if report.state != "done" or len(report.steps) != preview.steps_total:
        tally.wrong.append(
            f"{name}: {report.state}, {len(report.steps)} of {preview.steps_total} steps: {report.reason}"
        )
    share = abs((report.actual_s or 0.0) / preview.planned_s - 1)
    tally.worst_share = max(tally.worst_share, share)
    if share > WITHIN_SHARE:
        tally.wrong.append(f"{name}: {report.actual_s} s, previewed {preview.planned_s} s")
    for step, planned in zip(report.steps, preview.steps, strict=False):
        tally.steps += 1
        if step.do == "move":
            off = abs(truth[step.position] - (step.end_deg if step.end_deg is not None else 1e9))
            tally.worst_deg = max(tally.worst_deg, off)
            if off > WITHIN_DEG or abs((step.target_deg or 1e9) - (planned.to_deg or 0.0)) > 1e-3:
                tally.wrong.append(
                    f"{name} {step.at}: stored {step.end_deg}°, truth {truth[step.position]}°, planned {planned.to_deg}°"
                )
        if step.actual_s is not None and planned.planned_s and step.actual_s > planned.planned_s * (1 + WITHIN_SHARE):
            tally.late_steps += 1


def live_a_year(hours: int) -> dict[str, float]:
    """An hourly entry that cannot run (nobody has armed the servo): all of the keeper, the journal and the notices."""
    seen: dict[str, float] = {}
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "year.db"

        async def scenario(house: House) -> None:
            await house.put("nod", [{"do": "wait", "for_s": 1}])
            await house.store.put_document(
                TIMETABLE, "hourly", {"sequence": "nod", "servo": "vent", "every_s": 3600}, None
            )
            keeper = Timekeeper(house.store, house.runs, house.world, Site(), lambda: True)
            task = asyncio.create_task(keeper.run())
            for quarter in range(1, 5):
                await asyncio.sleep(hours * 3600 / 4)
                gc.collect()
                seen[f"memory_kib_{quarter}"] = of_process("status", "VmRSS")
            task.cancel()
            runs = Counter(
                entry.result for entry in (await house.store.journal.page(Search(kinds=("slot",)), limit=50)).entries
            )
            seen["entries_of_the_last_page"] = sum(runs.values())

        before = of_process("io", "write_bytes")
        in_house(scenario, url=f"sqlite:///{file}", servos_run=False)
        seen["database_kib"] = file.stat().st_size / 1024
        seen["written_kib_a_day"] = (of_process("io", "write_bytes") - before) / 1024 / (hours / 24)
    return seen


def of_process(file: str, name: str) -> int:
    """A number that the kernel keeps of this process."""
    lines = Path(f"/proc/self/{file}").read_text().splitlines()
    return int(next(line for line in lines if line.startswith(f"{name}:")).split()[1])


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("what", choices=("steps", "year"), nargs="?", default="steps")
    parser.add_argument("--steps", type=int, default=10_000)
    parser.add_argument("--hours", type=int, default=8760)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--check", action="store_true", help="say so by the exit code when something does not hold")
    arguments = parser.parse_args()
    began = time.monotonic()
    if arguments.what == "year":
        seen = live_a_year(arguments.hours)
        print(", ".join(f"{name} {number:.0f}" for name, number in seen.items()), f"({time.monotonic() - began:.0f} s)")
        flat = seen["memory_kib_4"] < 1.1 * seen["memory_kib_1"]
        return 1 if arguments.check and not flat else 0
    tally = run_steps(arguments.steps, arguments.seed)
    print(
        f"steps {tally.steps}, runs {tally.runs}, virtual {tally.virtual_s / 3600:.1f} h, wrong {len(tally.wrong)}, "
        f"worst {tally.worst_deg:.3f}° from truth, worst run {100 * tally.worst_share:.2f} % from its preview, "
        f"steps later than 1 %: {tally.late_steps} ({time.monotonic() - began:.0f} s)"
    )
    for line in tally.wrong[:20]:
        print("  ", line)
    return 1 if arguments.check and tally.wrong else 0


if __name__ == "__main__":
    sys.exit(main())
