"""How much of a battery is used: reckoned by hand, kept over a restart, said in time, and begun anew when it was charged."""

from __future__ import annotations

import asyncio
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from geartender.api.battery import BatteryGauge, drawn
from geartender.servo.models import MotionKind, TraceRow
from geartender.servo.motions import Motion
from geartender.store import Store
from geartender.world import World
from geartender.world.virtual import run_virtual
from tests.servo.rig import ANNA, vent
from tests.store.kit import address, opened

SUPPLY = {"kind": "battery", "capacity_ah": 10.0, "rated_hours": 20.0, "peukert_exponent": 1.0, "standby_w": 1.2}


def row(t_s: float, current_a: float, duty: float) -> TraceRow:
    nothing = dict.fromkeys(("angle_deg", "target_deg", "reference_deg", "supply_v"))
    return TraceRow(t_s=t_s, current_a=current_a, duty=duty, speed_deg_s=0, torque_nm=0, counts=0, **nothing)


def gauge_of(store: Store, world: World, **supply: Any) -> BatteryGauge:
    servos: Any = {"vent": SimpleNamespace(sheet=vent(supply=SUPPLY | supply))}
    return BatteryGauge(store, servos, world.monotonic)


def test_what_a_motion_draws_is_current_times_duty_over_its_time() -> None:
    rows = [row(0.0, 2.0, 0.5), row(1.8, -3.0, -1.0), row(3.6, 0.0, 0.0)]
    assert drawn(rows) == [(1.0, pytest.approx(0.0005)), (3.0, pytest.approx(0.0005))]


def test_standby_and_motions_add_up_and_are_kept_over_a_restart(tmp_path: Path) -> None:
    async def first(world: World) -> float:
        async with opened(address(tmp_path / "a.db"), world) as store:
            gauge = gauge_of(store, world)
            motion = Motion("1", "vent", MotionKind.MOVE, ANNA, world.wall(), 1)
            motion.trace = [row(0.0, 2.0, 0.5), row(3600.0, 0.0, 0.0)]
            gauge.ended(motion)
            task = asyncio.create_task(gauge.run())
            await asyncio.sleep(10 * 3600.0 + 1.0)
            task.cancel()
            return gauge.used("vent")

    async def again(world: World) -> float:
        async with opened(address(tmp_path / "a.db"), world) as store:
            gauge = gauge_of(store, world)
            task = asyncio.create_task(gauge.run())
            await asyncio.sleep(1.0)
            task.cancel()
            return gauge.used("vent")

    # 1 A for an hour and 1.2 W at 12 V for ten hours, of 10 Ah.
    assert run_virtual(first) == pytest.approx(0.1 + 0.1)
    assert run_virtual(again) == pytest.approx(0.2)


def test_it_is_said_when_little_is_left_and_begins_anew_when_put_aside() -> None:
    async def main(world: World) -> None:
        async with opened("sqlite://", world) as store:
            gauge = gauge_of(store, world)
            task = asyncio.create_task(gauge.run())
            await asyncio.sleep(79 * 3600.0)
            assert store.notices.all() == []
            await asyncio.sleep(2 * 3600.0)
            (notice,) = store.notices.all()
            assert (notice.kind, notice.servo, "80%" in notice.text, notice.lasting) == ("battery", "vent", True, True)
            store.notices.clear("battery", "vent")
            await asyncio.sleep(3600.0)
            assert gauge.used("vent") == pytest.approx(0.01, abs=0.003)
            assert store.notices.all() == []
            task.cancel()

    run_virtual(main)


def test_an_adapter_and_a_battery_without_a_capacity_are_not_counted() -> None:
    async def main(world: World) -> None:
        async with opened("sqlite://", world) as store:
            for supply in ({"kind": "adapter"}, {"capacity_ah": None}):
                gauge = gauge_of(store, world, **supply)
                task = asyncio.create_task(gauge.run())
                await asyncio.sleep(7200.0)
                task.cancel()
                assert gauge.used("vent") == 0.0

    run_virtual(main)
