import random
import re

import pytest

from geartender.access.tokens import digest, is_passphrase, keep_passphrase, new_code, new_token, same


def test_a_key_has_256_bits_and_says_what_it_is() -> None:
    asked: list[int] = []

    def chance(number: int) -> bytes:
        asked.append(number)
        return bytes(range(number))

    key = new_token(chance)
    assert re.fullmatch(r"gt_[A-Za-z0-9_-]{43}", key)
    assert asked == [32]


def test_keys_are_never_the_same_and_nor_are_their_digests() -> None:
    chance = random.Random(1).randbytes
    keys = {new_token(chance) for _ in range(1000)}
    assert len(keys) == len({digest(key) for key in keys}) == 1000


def test_of_a_key_only_a_digest_is_kept() -> None:
    key = new_token(random.Random(2).randbytes)
    kept = digest(key)
    assert re.fullmatch(r"[0-9a-f]{64}", kept)
    assert key not in kept
    assert same(kept, digest(key))
    assert not same(kept, digest(key + "x"))


def test_every_code_of_six_digits_comes_as_often_as_any_other() -> None:
    chance = random.Random(3).randbytes
    codes = [new_code(chance) for _ in range(20_000)]
    assert all(re.fullmatch(r"[0-9]{6}", code) for code in codes)
    for place in range(6):
        often = [sum(code[place] == digit for code in codes) for digit in "0123456789"]
        assert min(often) > 1800
        assert max(often) < 2200


@pytest.mark.parametrize("passphrase", ["open the vent", "Lüftungsklappe am First", " eight ch ", "\ud800 broken half"])
def test_a_passphrase_is_kept_slowly_and_never_alike(passphrase: str) -> None:
    chance = random.Random(4).randbytes
    kept, again = keep_passphrase(passphrase, chance), keep_passphrase(passphrase, chance)
    assert kept.startswith("scrypt$16384$8$1$")
    assert kept != again
    assert passphrase not in kept
    assert is_passphrase(passphrase, kept)
    assert not is_passphrase(passphrase + " ", kept)
