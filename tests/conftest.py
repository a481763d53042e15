"""What every test starts from: seeded chance, and Hypothesis drawing the same examples on every run."""

import random

import pytest
from hypothesis import settings

settings.register_profile("geartender", derandomize=True, deadline=None)
settings.load_profile("geartender")

#: Any test that draws without naming a seed of its own draws the same numbers each time.
SEED = 20_240


@pytest.fixture(autouse=True)
def _seeded() -> None:
    random.seed(SEED)
