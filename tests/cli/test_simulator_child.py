"""The simulator as a child process, really started."""

import asyncio
from dataclasses import fields
from pathlib import Path

import pytest

from geartender.cli.running import ridge_vent
from geartender.cli.simulator_child import SimulatorFailed, simulator
from geartender.errors import Invalid, Offline
from geartender.simulator.mechanics import Truth


def arguments(folder: Path) -> list[str]:
    return ["--link", str(folder / "vent"), "--build", str(ridge_vent())]


def test_it_tells_the_truth_and_obeys(tmp_path: Path) -> None:
    async def talk() -> None:
        with simulator(arguments(tmp_path)) as child:
            assert (tmp_path / "vent").is_symlink()
            first, second = await asyncio.gather(child.truth(), child.truth())
            assert list(first) == [field.name for field in fields(Truth)]
            assert second["t_s"] >= first["t_s"]
            await child.command("jam")
            with pytest.raises(Invalid, match="load"):
                await child.command("load heavy")

    asyncio.run(talk())
    assert not (tmp_path / "vent").exists()


def test_one_that_is_gone_is_offline(tmp_path: Path) -> None:
    async def talk() -> None:
        with simulator(arguments(tmp_path)) as child:
            child.process.kill()
            for _ in range(2):
                with pytest.raises(Offline):
                    await child.truth()

    asyncio.run(talk())


def test_one_that_does_not_start_is_said(tmp_path: Path) -> None:
    with pytest.raises(SimulatorFailed), simulator(["--link", str(tmp_path / "vent"), "--build", "missing.toml"]):
        pass
