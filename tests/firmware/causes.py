"""Every cause of a fault stop, provoked in mechanics whose load, disc and places a seed draws, and what it is called."""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from geartender.firmware import tick
from geartender.simulator.mechanics import Mechanics
from tests.firmware.kit import FINE, Bench, plant_with, rigid, sheet_with


@dataclass(frozen=True, slots=True)
class Cause:
    """A way to go wrong, and the names that are right for it."""

    name: str
    provoke: Callable[[int], str]
    names: frozenset[str]


class Miswired(Mechanics):
    """Mechanics whose sensors tell the board something else than where the disc is."""

    def told(self, counts: int) -> int:
        """What comes out of the counter for a true count."""
        return counts

    @property
    def counts(self) -> int:
        """What the counter shows."""
        return self.told(super().counts)


class Swapped(Miswired):
    """The sensors' wires changed over."""

    def told(self, counts: int) -> int:
        """The other way."""
        return -counts


class OneDead(Miswired):
    """One sensor that says nothing: the other alone makes the count go to and fro."""

    def told(self, counts: int) -> int:
        """0 or 1."""
        return int(counts % 4 in (1, 2))


class MarkMissing(Miswired):
    """A magnet that fell out: its four edges are missing in every turn."""

    def told(self, counts: int) -> int:
        """Four less a turn."""
        edges = 4 * self.plant.disc.marks
        return counts // edges * (edges - 4) + min(counts % edges, edges - 4)


def drawn(
    seed: int, sheet: Any = None, kind: type[Mechanics] | None = None, **settings: int
) -> tuple[Bench, random.Random]:
    """A ridge vent with a load, an uneven disc and a start that the seed draws; armed."""
    dice = random.Random(seed)
    tables: dict[str, Any] = {
        "load": {"friction_nm": dice.uniform(0.1, 1.0), "gravity_nm": dice.uniform(0.0, 1.2)},
        "disc": {"phase_error_deg": dice.uniform(0.0, 12.0)},
        "start_deg": dice.uniform(10.0, 60.0),
    }
    make = dice.choice((rigid, plant_with))
    plant = make(sheet, **tables) if sheet else make(**tables)
    bench = (
        Bench(plant, sheet, seed, settings, greet=False)
        if sheet
        else Bench(plant, seed=seed, settings=settings, greet=False)
    )
    if kind is not None:
        bench.sim.mechanics.__class__ = kind
    bench.hello()
    bench.give_settings()
    bench.ask("rate", 10)
    bench.arm()
    return bench, dice


def turning(bench: Bench, deg_s: float) -> None:
    """Turn at a speed until something happens."""
    bench.ask("turn", 50, bench.after(0.2), round(deg_s * bench.per_deg * FINE), 0)


def fault_of(bench: Bench, seconds: float = 30.0) -> str:
    """The fault that it ends with; `none` if it goes on."""
    bench.until(lambda: bench.telemetry["fault"] != "none", seconds)
    bench.until(lambda: bench.telemetry["state"] == "faulted", 2.0)
    return str(bench.telemetry["fault"])


def homed(seed: int, sheet: Any = None, **settings: int) -> tuple[Bench, random.Random]:
    """The same, homed."""
    bench, dice = drawn(seed, sheet, **settings)
    bench.home()
    return bench, dice


def jam(seed: int) -> str:
    """Held at speed."""
    bench, dice = homed(seed)
    turning(bench, dice.uniform(5.0, 20.0))
    bench.run(dice.uniform(0.8, 2.0))
    bench.sim.command("jam")
    return fault_of(bench)


def jammed_start(seed: int) -> str:
    """Held before it starts."""
    bench, dice = homed(seed)
    bench.sim.command("jam")
    turning(bench, dice.uniform(5.0, 20.0))
    return fault_of(bench)


def heavy_load(seed: int) -> str:
    """A load above the bound, put on at a low speed."""
    bench, dice = homed(seed)
    turning(bench, dice.uniform(3.0, 5.0))
    bench.run(1.0)
    bench.sim.command(f"load {dice.uniform(7.0, 9.0):g}")
    return fault_of(bench)


def motor_swapped(seed: int) -> str:
    """The motor's wires changed over."""
    bench, dice = drawn(seed, polarity=-1)
    turning(bench, dice.choice((-1, 1)) * dice.uniform(5.0, 20.0))
    return fault_of(bench)


def sensors_swapped(seed: int) -> str:
    """The sensors' wires changed over."""
    bench, dice = drawn(seed, None, Swapped)
    turning(bench, dice.choice((-1, 1)) * dice.uniform(5.0, 20.0))
    return fault_of(bench)


def one_sensor_dead(seed: int) -> str:
    """One sensor says nothing."""
    bench, dice = drawn(seed, None, OneDead)
    turning(bench, dice.choice((-1, 1)) * dice.uniform(5.0, 20.0))
    return fault_of(bench)


def magnet_missing(seed: int) -> str:
    """A mark of the disc is missing."""
    sheet = sheet_with(travel={"min_deg": -20.0}, home={"angle_deg": 10.0})
    bench, dice = drawn(seed, sheet, MarkMissing)
    bench.home()
    if bench.telemetry["fault"] == "none":
        turning(bench, dice.uniform(8.0, 20.0))
        bench.until(lambda: bench.telemetry["fault"] != "none", 1.5)
        turning(bench, -dice.uniform(8.0, 20.0))
    return fault_of(bench)


def noisy_sensor(seed: int) -> str:
    """Impossible transitions."""
    bench, dice = homed(seed)
    turning(bench, dice.uniform(5.0, 20.0))
    bench.run(1.0)
    bench.state[tick.ILLEGAL_IN] = bench.settings["illegal_max"] + dice.randrange(20)
    return fault_of(bench)


def mark_missing(seed: int) -> str:
    """No home mark anywhere."""
    dice = random.Random(seed)
    bench = Bench(rigid(home={"width_deg": 0.0}, start_deg=dice.uniform(5.0, 60.0)), seed=seed)
    bench.arm()
    bench.ask("home", 1, bench.after(0.2))
    return fault_of(bench, 60.0)


def out_of_travel(seed: int) -> str:
    """Turned out of the travel."""
    dice = random.Random(seed)
    bench = Bench(rigid(stops=None), seed=seed).ready()
    turning(bench, dice.choice((-1, 1)) * dice.uniform(5.0, 15.0))
    return fault_of(bench)


def silent_host(seed: int) -> str:
    """A host that says nothing more."""
    bench, dice = homed(seed)
    turning(bench, dice.uniform(5.0, 15.0))
    bench.run(1.0)
    bench.silent = True
    return fault_of(bench)


def low_supply(seed: int) -> str:
    """A supply that breaks down."""
    bench, dice = homed(seed)
    turning(bench, dice.uniform(4.0, 8.0))
    bench.run(1.0)
    bench.sim.command(f"supply {dice.uniform(7.5, 8.8):g}")
    return fault_of(bench)


def hot_winding(seed: int) -> str:
    """A winding that gets hot, at a load within the bound."""
    bench, dice = homed(seed, None, heat_num=800_000, heat_tau_s=2, winding_max=500)
    bench.sim.command(f"load {dice.uniform(2.5, 4.0):g}")
    turning(bench, dice.uniform(3.0, 6.0))
    return fault_of(bench)


def _cause(provoke: Callable[[int], str], *names: str) -> Cause:
    return Cause(provoke.__name__, provoke, frozenset(names))


CAUSES = (
    _cause(jam, "overload", "stalled"),
    _cause(jammed_start, "overload", "stalled"),
    _cause(heavy_load, "overload", "stalled"),
    _cause(motor_swapped, "wrong-direction"),
    _cause(sensors_swapped, "wrong-direction"),
    _cause(one_sensor_dead, "sensor-error"),
    _cause(magnet_missing, "sensor-error"),
    _cause(noisy_sensor, "sensor-error"),
    _cause(mark_missing, "home-not-found"),
    _cause(out_of_travel, "travel"),
    _cause(silent_host, "host-silent"),
    _cause(low_supply, "supply-low"),
    _cause(hot_winding, "too-hot"),
)
