"""What every test starts from: seeded chance, and Hypothesis drawing the same examples on every run."""

import random

import pytest
from hypothesis import settings

settings.register_profile("geartender", derandomize=True, deadline=None)
settings.load_profile("geartender")

#: Any test that draws without naming a seed of its own draws the same numbers each time.
SEED = 20_240

#: These run real processes in real time. deploy/test.sh puts them before the others, and never two browsers at once.
REAL_TIME = (
    "tests/api/test_fuzz.py",
    "tests/access/test_guesses.py",
    "tests/api/test_serving.py",
    "tests/browser/",
    "tests/cli/test_doctor.py",
    "tests/cli/test_access.py",
    "tests/cli/test_driving.py",
    "tests/cli/test_keeping.py",
    "tests/cli/test_sequences.py",
    "tests/cli/test_simulator_child.py",
    "tests/deploy/test_updates.py",
    "tests/end_to_end/",
    "tests/install/test_real.py",
    "tests/simulator/test_process.py",
)


def pytest_itemcollected(item: pytest.Item) -> None:
    if item.nodeid.startswith(REAL_TIME):
        item.add_marker(pytest.mark.real_time)


@pytest.fixture(autouse=True)
def _seeded() -> None:
    random.seed(SEED)
