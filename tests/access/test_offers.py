"""Invitations by themselves: used once, in time, and after few guesses worth nothing."""

import random

import pytest

from geartender.access.pairing import LIVES_S, OPEN_MAX, TRIES, TRIES_EACH, Offers, invite
from geartender.access.roles import Role


def offers(seed: int = 1) -> Offers:
    return Offers(random.Random(seed).randbytes)


def another(code: str, number: int = 1) -> str:
    return f"{(int(code) + number) % 1_000_000:06d}"


def test_either_way_lets_in_once() -> None:
    for way in ("code", "secret"):
        some = offers()
        made = some.make(Role.DRIVE, "Anna", 0.0)

        def use(some: Offers = some, way: str = way, secret: str = made.secret, code: str = made.code) -> object:
            return some.by_secret(secret, 1.0) if way == "secret" else some.by_code(code, "10.0.0.1", 1.0)

        used = some.by_secret(made.secret, 1.0) if way == "secret" else some.by_code(made.code, "10.0.0.1", 1.0)
        assert used is not None
        assert (used.role, used.by) == (Role.DRIVE, "Anna")
        assert use() is None
        assert some.by_secret(made.secret, 1.0) is None
        assert some.by_code(made.code, "10.0.0.1", 1.0) is None


def test_it_lives_ten_minutes() -> None:
    some = offers()
    made = some.make(Role.DRIVE, "Anna", 100.0)
    assert some.by_code(made.code, "a", 100.0 + LIVES_S) is None
    assert some.by_secret(made.secret, 100.0 + LIVES_S) is None
    made = some.make(Role.DRIVE, "Anna", 1000.0)
    assert some.by_code(made.code, "a", 1000.0 + LIVES_S - 0.001) is not None


def test_one_client_has_three_tries_and_another_still_gets_in() -> None:
    some = offers()
    made = some.make(Role.DRIVE, "Anna", 0.0)
    for number in range(1000):
        assert some.by_code(another(made.code, number + 1), "guesser", 1.0) is None
    assert some.by_code(made.code, "guesser", 1.0) is None
    assert some.by_code(made.code, "phone", 1.0) is not None


def test_five_wrong_tries_of_several_end_the_code_but_not_the_secret() -> None:
    some = offers()
    made = some.make(Role.DRIVE, "Anna", 0.0)
    assert TRIES_EACH < TRIES < 2 * TRIES_EACH
    for number in range(TRIES):
        assert some.by_code(another(made.code), f"guesser {number % 2}", 1.0) is None
    assert some.by_code(made.code, "phone", 1.0) is None
    assert some.by_secret(made.secret, 1.0) is not None


def test_a_wrong_try_counts_for_every_invitation_that_is_open() -> None:
    some = offers()
    made = [some.make(Role.DRIVE, "Anna", 0.0) for _ in range(2)]
    for number in range(TRIES):
        some.by_code(another(made[0].code), f"guesser {number}", 1.0)
    assert all(some.by_code(one.code, "phone", 1.0) is None for one in made)


def test_only_the_newest_are_open() -> None:
    some = offers()
    made = [some.make(Role.DRIVE, "Anna", 0.0) for _ in range(OPEN_MAX + 2)]
    assert [some.by_secret(one.secret, 1.0) is not None for one in made] == [False, False, True, True, True]


@pytest.mark.parametrize("wrong", ["", "0", "12345", "1234567", "gt_", "\ud800", "x" * 128])
def test_what_is_no_code_or_secret_is_simply_wrong(wrong: str) -> None:
    some = offers()
    some.make(Role.DRIVE, "Anna", 0.0)
    assert some.by_secret(wrong, 1.0) is None
    assert some.by_code(wrong, "a", 1.0) is None


def test_what_is_left_for_a_service_to_take_over_has_nothing_in_clear() -> None:
    made, kept = invite(random.Random(5).randbytes, Role.MANAGE, "the machine itself")
    assert made.secret not in str(kept)
    assert made.code not in str(kept)
    some = offers()
    some.take_over(kept, 60.0, 0.0)
    assert some.by_code(made.code, "phone", 59.0) is not None
