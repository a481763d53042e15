"""Made-up requests against a running demo; the whole number of them is in tests/benchmarks/fuzz.py."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.api.fuzz import Fuzz
from tests.browser.conftest import running_demo

EXAMPLES = 4
WALKS = 2
STEPS = 25


@pytest.mark.slow
def test_no_made_up_request_breaks_the_service_or_moves_the_servo(tmp_path: Path) -> None:
    with running_demo(tmp_path) as demo:
        fuzz = Fuzz(demo)
        for name, operation in fuzz.operations().items():
            fuzz.attack(name, operation, EXAMPLES)
        fuzz.wander(WALKS, STEPS)
    assert fuzz.seen.wrong == []
    assert fuzz.seen.operations.total() > 3 * len(fuzz.operations())
    assert fuzz.seen.statuses["2xx"] > 25
