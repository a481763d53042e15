"""Guesses at a running service; a hundred thousand of them are in tests/benchmarks/guesses.py."""

import pytest

from tests.benchmarks.guesses import guessed


@pytest.mark.slow
def test_no_guess_gets_in_and_the_right_ones_still_do() -> None:
    seen, strangers, entries = guessed(1500, seed=3)
    assert sum(seen.guesses.values()) == 1500
    assert seen.got_in == []
    assert strangers == 0
    assert seen.failed == []
    assert min(seen.right[what] for what in ("key", "secret", "code")) >= 1
    assert entries <= 20
