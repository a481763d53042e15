"""What a tick of the firmware costs: under the interpreters of this machine, and by count of its operations on the chip.

python tests/benchmarks/tick.py [--ticks N] [--check]
"""

import argparse
import sys
from array import array
from collections import defaultdict
from collections.abc import Callable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

import pytest

from geartender.firmware import recorder, registers, tick
from geartender.firmware.names import LABELS
from tests.firmware.checked import COUNTED, Words, check_ticks
from tests.firmware.fake_chip import PERIOD, Ages, Counter, Pins
from tests.firmware.interpreter import MICROPYTHON, MODES, ticked
from tests.firmware.kit import FINE, Bench, rigid, sheet_with

OPERATION_US = 0.081
"""µs of an operation as machine code: 1100 of them took 89 µs on an emulated RP2040 at 125 MHz under MicroPython 1.28; flash
delays are not in it."""
CALL_US = 20.0
"""µs of a call, from the same measurement; that of interpreted code, so more than a call between machine-code functions."""
BUDGET_US = 500
"""µs that all of it may take, a quarter of what there is."""
FOLLOWING, HELD_UP = -1, -2
OTHERS = {tick.FOLLOW: FOLLOWING, tick.EASE: HELD_UP}
MEMORY = ("load", "store")
FUNCTIONS = [name for name in vars(tick) if name.startswith("_") and callable(getattr(tick, name)) and name[1] != "_"]


def main() -> int:
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("--ticks", type=int, default=2000)
    options.add_argument("--check", action="store_true", help="fail where the budget is not kept")
    given = options.parse_args()
    on_this_machine(given.ticks)
    whole = on_the_chip()
    return 1 if given.check and whole > BUDGET_US else 0


def on_this_machine(ticks: int) -> None:
    """Print what a tick takes here, interpreted."""
    commands = {"CPython": Path(sys.executable)}
    if MICROPYTHON.exists():
        commands["MicroPython"] = MICROPYTHON
    print(f"a tick on this machine, interpreted, {ticks} ticks a mode, µs; heap bytes of all of them under MicroPython")
    print(f"{'mode':12}" + "".join(f"{name:>14}" for name in commands) + f"{'heap':>8}")
    for mode in MODES:
        figures = [ticked(command, mode, ticks) for command in commands.values()]
        print(f"{mode:12}" + "".join(f"{figure['us']:14.1f}" for figure in figures) + f"{figures[-1]['heap']:8.0f}")


def on_the_chip() -> float:
    """Print the operations of a tick in each state; give what the worst of them would take as machine code, µs, registers included."""
    counted = operations()
    print("\noperations of a tick, mean and most    arithmetic         memory          calls")
    for label, ticks in counted.items():
        columns = [
            f"{sum(row[part] for row in ticks) / len(ticks):8.0f} {max(row[part] for row in ticks):5}"
            for part in range(3)
        ]
        print(f"{label:34}" + "  ".join(columns))
    most = max((row for ticks in counted.values() for row in ticks), key=cost_us)
    beside = beside_the_tick()
    print()
    for name, (arithmetic, memory, calls) in (("the worst tick", most), ("registers and record", beside)):
        print(
            f"{name}: ({arithmetic} + {memory}) operations × {OPERATION_US} µs + {calls} calls × {CALL_US:.0f} µs"
            f" = {cost_us((arithmetic, memory, calls)):.0f} µs"
        )
    whole = cost_us(most) + cost_us(beside)
    print(
        f"together {whole:.0f} µs of the {tick.TICK_US} µs between two ticks, {whole / tick.TICK_US:.0%}; {BUDGET_US} may be used"
    )
    print("  (by count, not measured on a board)")
    return whole


def cost_us(row: tuple[int, int, int]) -> float:
    """Of a tick with so many arithmetic operations, words taken and put, and calls."""
    arithmetic, memory, calls = row
    return (arithmetic + memory) * OPERATION_US + calls * CALL_US


def beside_the_tick() -> tuple[int, int, int]:
    """The same of what the interrupt does beside the tick: every queue full, a bridge of two PWM inputs, a sample recorded."""
    counter, ages = Counter(), Ages()
    counter.always_full = ages.always_full = True
    state, wiring, log = array("i", [0] * tick.WORDS), array("i", [0] * registers.WIRING_WORDS), recorder.new_log()
    recorder.begin(log, 1)
    state[tick.BRIDGE_OUT], wiring[registers.FULL] = 1, PERIOD
    COUNTED.clear()
    registers.take(Words(state), Words(wiring), Words(counter), Words(Pins()))
    registers.take_age(Words(state), Words(ages))
    registers.give(Words(state), Words(wiring), Words(Pins()), Words(Pins()), Words(Pins()))
    recorder.note(Words(state), Words(log))
    memory = sum(COUNTED[name] for name in MEMORY)
    return COUNTED.total() - memory, memory, 4


def operations() -> dict[str, list[tuple[int, int, int]]]:
    """Arithmetic operations, words taken and put, and calls, of every tick of a day, by the state it ended in."""
    names = {**dict(enumerate(LABELS)), FOLLOWING: "moving, after a pulse", HELD_UP: "held up"}
    rows: defaultdict[str, list[tuple[int, int, int]]] = defaultdict(list)
    with pytest.MonkeyPatch.context() as patch:
        for name in FUNCTIONS:
            patch.setattr(tick, name, calling(getattr(tick, name)))
        check_ticks(patch)
        for action in ("stop", "ease"):
            sheet = sheet_with(pulse={"enabled": True}, overload={"action": action})
            bench = Bench(rigid(sheet), sheet)
            step = bench.step

            def counting(bench: Bench = bench, step: Callable[[], None] = step) -> None:
                COUNTED.clear()
                step()
                memory, calls = sum(COUNTED[name] for name in MEMORY), COUNTED["call"]
                label = names[OTHERS.get(bench.state[tick.MODE], bench.state[tick.LABEL])]
                rows[label].append((COUNTED.total() - memory - calls, memory, calls + 1))

            patch.setattr(bench, "step", counting)
            day(bench, action)
    return rows


def calling(function):
    """Count the calls of a function."""

    def call(*arguments):
        COUNTED["call"] += 1
        return function(*arguments)

    return call


def day(bench: Bench, action: str) -> None:
    """One of everything; what is jammed is a fault, or is held up for a while."""
    bench.run(0.2)
    bench.ready()
    bench.ask("lead", 1, bench.after(0.2))
    bench.sim.command("pulse 1500")
    bench.run(3.0)
    bench.ask("lead", 0, bench.after(0.2))
    bench.run(0.5)
    bench.move(2, 30.0)
    speed = round(10.0 * bench.per_deg * FINE)
    bench.ask("turn", 3, bench.after(0.2), speed, 500_000)
    bench.until(lambda: bench.telemetry["ended"] == 3)
    bench.ask("jog", 4, bench.after(0.2), -speed)
    bench.run(0.2)
    bench.raw("stop 2 1")
    bench.run(0.5)
    bench.queue(5, bench.path(60.0), bench.after(0.1))
    bench.run(0.8)
    bench.sim.command("jam")
    if action == "stop":
        bench.until(lambda: bench.telemetry["fault"] != "none")
        bench.run(0.1)
        return
    bench.run(1.0)
    bench.sim.command("free")
    bench.until(lambda: bench.telemetry["ended"] == 5)


if __name__ == "__main__":
    sys.exit(main())
