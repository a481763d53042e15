"""Secrets: how they are made, and what is kept of them in their place. Pure; chance is handed in.

Keys and the secrets of sessions are 256 random bits: a plain SHA-256 of one cannot be turned back, and is quick enough to stand
before every request. A passphrase is a person's choice and can be guessed, so it is kept as scrypt (RFC 7914).
"""

from __future__ import annotations

import base64
import hashlib
import hmac
from collections.abc import Callable

Chance = Callable[[int], bytes]
"""So many random bytes, that nobody can foretell."""

TOKEN_BYTES = 32
"""Bytes; 256 bits, twice what is out of reach of guessing."""

TOKEN_PREFIX = "gt_"  # noqa: S105 - it only says what follows
"""Stands before each, so that one that lies about in a file is known for what it is."""

TOKEN_MAX_CHARS = 128
"""Characters; twice the length of one of ours. What is longer is not looked at."""

CODE_DIGITS = 6

SCRYPT_N, SCRYPT_R, SCRYPT_P = 2**14, 8, 1
"""16 MiB and about 50 ms on a laptop, a quarter of a second on a small board: one guess costs as much."""

SALT_BYTES = 16


def new_token(chance: Chance) -> str:
    """A new key, or secret of a session or of an invitation."""
    return TOKEN_PREFIX + base64.urlsafe_b64encode(chance(TOKEN_BYTES)).rstrip(b"=").decode()


def new_code(chance: Chance) -> str:
    """A code of six digits for typing."""
    return f"{int.from_bytes(chance(16)) % 10**CODE_DIGITS:0{CODE_DIGITS}d}"


def digest(secret: str) -> str:
    """What is kept in the place of a random secret."""
    return hashlib.sha256(secret.encode("utf-8", "surrogatepass")).hexdigest()


def same(one: str, other: str) -> bool:
    """Whether two digests are the same, in a time that does not tell where they differ."""
    return hmac.compare_digest(one, other)


def keep_passphrase(passphrase: str, chance: Chance) -> str:
    """What is kept in the place of a passphrase. Slow on purpose: not for the event loop's thread."""
    salt = chance(SALT_BYTES)
    return f"scrypt${SCRYPT_N}${SCRYPT_R}${SCRYPT_P}${salt.hex()}${_scrypt(passphrase, salt, SCRYPT_N, SCRYPT_R, SCRYPT_P)}"


def is_passphrase(passphrase: str, kept: str) -> bool:
    """Whether it is the one that was kept. Slow on purpose."""
    _, n, r, p, salt, wanted = kept.split("$")
    return same(_scrypt(passphrase, bytes.fromhex(salt), int(n), int(r), int(p)), wanted)


def _scrypt(passphrase: str, salt: bytes, n: int, r: int, p: int) -> str:
    return hashlib.scrypt(passphrase.encode("utf-8", "surrogatepass"), salt=salt, n=n, r=r, p=p, dklen=32).hex()
