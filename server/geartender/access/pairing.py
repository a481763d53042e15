"""Invitations: how a phone comes to be let in. Pure; times and chance are handed in.

An invitation has a long secret, which a QR code carries in the fragment of an address (so no server, proxy or log sees it), and a
code of six digits for typing. Either is used once, within ten minutes. The long one cannot be guessed. Of the short one every wrong
try counts: after five in all it is worth nothing to anybody, and after three to the one who tried, so that the chance of guessing
it is five in a million.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from typing import Any

from geartender.access.roles import Role
from geartender.access.tokens import Chance, digest, new_code, new_token, same

LIVES_S = 600.0
"""s; long enough to fetch a phone, short enough that a slip of paper found later is worth nothing."""

TRIES = 5
"""Wrong codes in all before the code is worth nothing."""

TRIES_EACH = 3
"""Wrong codes of one client: it alone cannot spoil the code for the others."""

OPEN_MAX = 3
"""Invitations open at once; a new one takes the place of the oldest. Each more would be one more code to be guessed."""


@dataclass(frozen=True, slots=True)
class Invitation:
    """What is shown once: nothing of it is kept in clear."""

    secret: str
    code: str
    role: Role
    lives_s: float


@dataclass(eq=False)
class _Offer:
    role: Role
    by: str
    secret: str
    """Digest of the secret."""
    code: str
    """Digest of the code, together with that of the secret."""
    until: float
    wrong: Counter[str] = field(default_factory=Counter)

    def may_try(self, client: str) -> bool:
        return self.wrong.total() < TRIES and self.wrong[client] < TRIES_EACH


@dataclass(frozen=True, slots=True)
class Accepted:
    """An invitation that was used."""

    role: Role
    by: str
    """Who gave it out."""


class Offers:
    """The invitations that are open."""

    def __init__(self, chance: Chance) -> None:
        self._chance = chance
        self._open: list[_Offer] = []

    def make(self, role: Role, by: str, now: float) -> Invitation:
        """A new invitation, open from now on."""
        invitation, kept = invite(self._chance, role, by)
        self.take_over(kept, LIVES_S, now)
        return invitation

    def take_over(self, kept: dict[str, Any], lives_s: float, now: float) -> None:
        """Open an invitation that was made elsewhere (`invite`) for as long as it has to live."""
        self._open.append(_Offer(Role(kept["role"]), kept["by"], kept["secret"], kept["code"], now + lives_s))
        del self._open[:-OPEN_MAX]

    def by_secret(self, secret: str, now: float) -> Accepted | None:
        """Use the invitation with this secret; None when there is none."""
        kept = digest(secret)
        return self._use([offer for offer in self._still_open(now) if same(offer.secret, kept)])

    def by_code(self, code: str, client: str, now: float) -> Accepted | None:
        """Use the invitation with this code; None when there is none, and then it counts as a wrong try of each."""
        tried = [offer for offer in self._still_open(now) if offer.may_try(client)]
        found = [offer for offer in tried if same(offer.code, _code_digest(offer.secret, code))]
        if not found:
            for offer in tried:
                offer.wrong[client] += 1
        return self._use(found)

    def _use(self, found: list[_Offer]) -> Accepted | None:
        if not found:
            return None
        self._open.remove(found[0])
        return Accepted(found[0].role, found[0].by)

    def _still_open(self, now: float) -> list[_Offer]:
        self._open = [offer for offer in self._open if now < offer.until]
        return self._open


def invite(chance: Chance, role: Role, by: str) -> tuple[Invitation, dict[str, Any]]:
    """An invitation, and what is to be kept of it until a service takes it over: digests only."""
    secret, code = new_token(chance), new_code(chance)
    kept = digest(secret)
    return (
        Invitation(secret, code, role, LIVES_S),
        {"role": role.value, "by": by, "secret": kept, "code": _code_digest(kept, code)},
    )


def _code_digest(secret: str, code: str) -> str:
    return digest(f"{secret}:{code}")
