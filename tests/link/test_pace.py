"""How long to wait for an answer."""

from geartender.link.pace import PATIENCE_FIRST_S, PATIENCE_MAX_S, PATIENCE_MIN_S, Pace


def test_before_the_first_answer_it_is_patient() -> None:
    assert Pace().patience(1) == PATIENCE_FIRST_S


def test_on_a_quick_line_it_asks_again_soon_and_on_a_slow_one_late() -> None:
    quick, slow = Pace(), Pace()
    for _ in range(50):
        quick.add(0.001, 1)
        slow.add(0.1, 1)
    assert quick.patience(1) == PATIENCE_MIN_S
    assert 0.1 < slow.patience(1) < 0.15


def test_the_first_measurement_counts_as_in_rfc_6298() -> None:
    pace = Pace()
    pace.add(0.03, 1)
    assert pace.usual == 0.03
    assert abs(pace.patience(1) - (0.03 + 4 * 0.015)) < 1e-12


def test_it_backs_off_but_never_falls_silent() -> None:
    pace = Pace()
    pace.add(0.01, 1)
    waits = [pace.patience(sends) for sends in range(1, 40)]
    assert waits == sorted(waits)
    assert waits[1] == 2 * waits[0]
    assert waits[-1] == PATIENCE_MAX_S


def test_answers_to_repeated_requests_count_only_when_nothing_better_comes() -> None:
    pace = Pace()
    pace.add(0.25, 3)
    assert pace.usual == 0.25
    assert pace.patience(1) > 0.25
    pace.add(0.9, 4)
    assert pace.usual == 0.25
    for _ in range(40):
        pace.add(0.6, 2)
    assert pace.usual > 0.3
