import pytest

from geartender.access.backoff import FORGOTTEN_S, FREE, REMEMBERED_MAX, WAIT_MAX_S, Backoff
from geartender.access.limits import CLIENTS_MAX, Bucket, Limiter, Rate, Rates


def test_a_bucket_lets_through_so_many_at_once_and_then_so_many_a_second() -> None:
    bucket = Bucket(Rate(per_s=2.0, at_once=5.0))
    assert [bucket.take(0.0) for _ in range(6)] == [0.0] * 5 + [0.5]
    assert bucket.take(0.4) == pytest.approx(0.1)
    assert bucket.take(0.5) == 0.0
    assert sum(bucket.take(0.5 + step / 100) == 0.0 for step in range(1000)) == 20 - 1


def test_a_bucket_never_holds_more_than_it_can() -> None:
    bucket = Bucket(Rate(per_s=2.0, at_once=5.0))
    bucket.take(0.0)
    assert sum(bucket.take(1e6) == 0.0 for _ in range(100)) == 5


def test_one_client_that_asks_too_often_takes_nothing_from_another() -> None:
    limiter = Limiter(Rates(each=Rate(1.0, 3.0), all=Rate(10.0, 20.0)))
    passed = [limiter.take("loud", 0.0) == 0.0 for _ in range(1000)]
    assert sum(passed) == 3
    assert limiter.take("quiet", 0.0) == 0.0


def test_all_together_are_limited_too() -> None:
    limiter = Limiter(Rates(each=Rate(1.0, 3.0), all=Rate(10.0, 20.0)))
    assert sum(limiter.take(f"client {number}", 0.0) == 0.0 for number in range(1000)) == 20
    assert limiter.take("one more", 0.0) == pytest.approx(0.1)


def test_a_limiter_forgets_clients_before_they_fill_the_memory() -> None:
    limiter = Limiter(Rates(each=Rate(1.0, 3.0), all=Rate(1e9, 1e9)))
    for number in range(10 * CLIENTS_MAX):
        limiter.take(f"client {number}", 0.0)
    assert len(limiter._each) == CLIENTS_MAX


def test_some_wrong_tries_are_free_then_each_doubles_the_wait() -> None:
    backoff, waits = Backoff(), []
    now = 0.0
    for _ in range(FREE + 14):
        waits.append(backoff.wait_s("a", now))
        now += waits[-1]
        backoff.wrong("a", now)
    assert waits[: FREE + 1] == [0.0] * (FREE + 1)
    assert waits[FREE + 1 : FREE + 5] == [1.0, 2.0, 4.0, 8.0]
    assert max(waits) == WAIT_MAX_S
    assert backoff.wait_s("b", now) == 0.0


def test_getting_in_or_a_long_rest_forgets_them() -> None:
    backoff = Backoff()
    for client in ("a", "b"):
        for _ in range(FREE + 5):
            backoff.wrong(client, 0.0)
    backoff.right("a")
    assert backoff.wait_s("a", 0.0) == 0.0
    backoff.wrong("b", FORGOTTEN_S + 1.0)
    assert backoff.wait_s("b", FORGOTTEN_S + 1.0) == 0.0


def test_it_remembers_no_more_than_it_has_room_for() -> None:
    backoff = Backoff()
    for number in range(10 * REMEMBERED_MAX):
        backoff.wrong(f"client {number}", 0.0)
    assert len(backoff._records) == REMEMBERED_MAX
