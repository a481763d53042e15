"""What is wired or built wrong is named, in machines that the seed draws; `tests/benchmarks/causes.py` takes more seeds."""

from collections.abc import Callable

import pytest

from tests.firmware.causes import CAUSES


@pytest.mark.parametrize("cause", CAUSES, ids=lambda cause: cause.name)
@pytest.mark.parametrize("seed", range(2))
def test_a_cause_is_told_by_its_name(cause, seed: int) -> None:
    provoke: Callable[[int], str] = cause.provoke
    assert provoke(seed) in cause.names
