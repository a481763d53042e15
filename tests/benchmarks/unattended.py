"""A timetable left alone for real minutes: real processes, a real pseudo-terminal, every stored step against the truth file.

python tests/benchmarks/unattended.py [--minutes 20] [--seed N] [--check]
"""

from __future__ import annotations

import argparse
import random
import sys
import tempfile
import time
from datetime import datetime
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.end_to_end.shed import Shed

EVERY_S = 60
WITHIN_DEG = 1.2
"""deg; a count, and the play of the gears, which the mechanics have and the counter does not see."""
AROUND_S = 0.6
"""s; the two clocks are matched once, and the simulator's is held back by a busy machine."""
WITHIN_SHARE = 0.01


def steps_of(dice: random.Random) -> list[dict[str, Any]]:
    """Some forty seconds of moves and waits."""
    steps: list[dict[str, Any]] = []
    for _ in range(8):
        steps += [
            {"do": "move", "to_deg": round(dice.uniform(2, 73), 2)},
            {"do": "wait", "for_s": round(dice.uniform(0.5, 2.5), 2)},
        ]
    return steps


def left_alone(shed: Shed, minutes: float, seed: int) -> tuple[datetime, float]:
    """Store a sequence and an entry, and go away; the wall's and the truth's time of one instant."""
    api = shed.url.split("/servos/")[0]
    new = {"If-None-Match": "*"}
    steps = steps_of(random.Random(seed))
    shed.http.put(f"{api}/sequences/air", json={"steps": steps}, headers=new).raise_for_status()
    began, at = datetime.now().astimezone(), float(shed.truth()["t_s"])
    entry = {"sequence": "air", "servo": "vent", "every_s": EVERY_S}
    shed.http.put(f"{api}/timetable/often", json=entry, headers=new).raise_for_status()
    end = time.monotonic() + minutes * 60
    while time.monotonic() < end:
        time.sleep(15)
        print(
            f"  {(end - time.monotonic()) / 60:4.1f} min left, {shed.snapshot()['state']}", file=sys.stderr, flush=True
        )
    current = shed.http.get(f"{api}/timetable/often")
    shed.http.delete(f"{api}/timetable/often", headers={"If-Match": current.headers["ETag"]}).raise_for_status()
    shed.until(lambda: shed.snapshot()["run"] is None, 2 * EVERY_S)
    return began, at


def all_of(shed: Shed, path: str) -> list[dict[str, Any]]:
    """Every item of a list, page by page."""
    api = shed.url.split("/servos/")[0]
    found: list[dict[str, Any]] = []
    cursor: str | None = None
    while True:
        query = {} if cursor is None else {"cursor": cursor}
        page = shed.http.get(f"{api}{path}", params=query).raise_for_status().json()
        found += page["items"]
        cursor = page["next"]
        if cursor is None:
            return found


def main() -> int:
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("--minutes", type=float, default=20.0)
    options.add_argument("--seed", type=int, default=0)
    options.add_argument("--check", action="store_true")
    given = options.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        shed = Shed(Path(folder))
        text = shed.config.read_text()
        shed.config.write_text(text + 'unattended = true\n\n[site]\nclock = "trusted"\n')
        try:
            shed.start()
            began, at = left_alone(shed, given.minutes, given.seed)
            wrong = judged(shed, began, at)
        finally:
            shed.close()
    for line in wrong:
        print("  wrong:", line)
    return 1 if given.check and wrong else 0


def judged(shed: Shed, began: datetime, at: float) -> list[str]:
    """What does not agree; prints what does."""
    api = shed.url.split("/servos/")[0]
    rows = shed.rows()
    runs = all_of(shed, "/runs")
    wrong, moves, worst_deg, worst_share = [], 0, 0.0, 0.0
    for run in runs:
        report = shed.http.get(f"{api}/runs/{run['id']}").raise_for_status().json()
        if report["state"] != "done":
            wrong.append(f"run {run['id']}: {report['state']}, {report['reason']}")
            continue
        share = abs(report["actual_s"] / report["planned_s"] - 1)
        if run is runs[-1]:  # the oldest: it armed and homed by itself first, which no preview can know
            print(f"the first run took {report['actual_s']:.1f} s, homing included, of {report['planned_s']:.1f} s")
            share = 0.0
        worst_share = max(worst_share, share)
        if share > WITHIN_SHARE:
            wrong.append(f"run {run['id']}: {report['actual_s']:.2f} s, previewed {report['planned_s']:.2f} s")
        for step in report["steps"]:
            if step["do"] != "move":
                continue
            moves += 1
            ended = at + (datetime.fromisoformat(step["begun_at"]) - began).total_seconds() + step["actual_s"]
            near = [row["output_deg"] for row in rows if abs(row["t_s"] - ended) < AROUND_S]
            off = min((abs(place - step["end_deg"]) for place in near), default=1e9)
            worst_deg = max(worst_deg, off)
            if off > WITHIN_DEG:
                wrong.append(f"run {run['id']} {step['at']}: stored {step['end_deg']}°, the truth is {off:.2f}° off")
    told = [entry for entry in all_of(shed, "/journal") if entry["kind"] == "run"]
    print(f"{len(runs)} runs, {moves} moves; stored ends within {worst_deg:.2f}° of the truth file;")
    print(
        f"worst run {worst_share:.2%} from its preview; {len(told)} entries of the journal about runs; {len(wrong)} wrong"
    )
    if not runs:
        wrong.append("nothing ran")
    return wrong


if __name__ == "__main__":
    sys.exit(main())
