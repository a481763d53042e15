"""What every test starts from: seeded chance, and Hypothesis drawing the same examples on every run."""

import random

import pytest
from hypothesis import settings

settings.register_profile("geartender", derandomize=True, deadline=None)
settings.load_profile("geartender")

#: Any test that draws without naming a seed of its own draws the same numbers each time.
SEED = 20_240

#: These run real processes in real time. deploy/test.sh puts them before the others, each group in a worker of its own: two browsers
#: at once would starve each other.
REAL_TIME = {
    "tests/api/test_serving.py": "processes",
    "tests/browser/": "browser",
    "tests/cli/test_driving.py": "processes",
    "tests/cli/test_simulator_child.py": "processes",
    "tests/end_to_end/": "processes",
    "tests/simulator/test_process.py": "processes",
}


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    for item in items:
        for place, group in REAL_TIME.items():
            if item.nodeid.startswith(place):
                item.add_marker(pytest.mark.real_time)
                item.add_marker(pytest.mark.xdist_group(group))


@pytest.fixture(autouse=True)
def _seeded() -> None:
    random.seed(SEED)
