"""An invitation at the terminal: the address, its QR code and the six digits."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

from geartender.cli.terminal import say

if TYPE_CHECKING:
    from geartender.api.service import Service

FOR = {
    "watch": "watches and stops",
    "drive": "drives",
    "manage": "manages: it may change limits and let others in",
}


def invite_the_first(service: Service, *, to_journal: bool = False) -> None:
    """When nobody may let others in yet, invite the first who may.

    With `to_journal` what is said here is kept and may be read by others: then it only says how.
    """
    from geartender.access.roles import Role
    from geartender.api.pairing import offer_of

    admissions = service.admissions
    if admissions.anybody or admissions.register.managers():
        return
    say("Nobody manages this service yet.")
    if to_journal:
        say("At this machine, let the first phone in: sudo geartender pair --role manage --config FILE")
        return
    offer = offer_of(admissions.invite(Role.MANAGE, "the first start"), service.page_url)
    say(invitation_text(offer.role.value, offer.address, offer.code, offer.lives_s))


def invitation_text(role: str, address: str, code: str, lives_s: float) -> str:
    """An invitation for a terminal."""
    page = address.partition("#")[0]
    return (
        f"{_drawn(address)}\n"
        f"Point a phone's camera at it, or open {page} and type the code {code[:3]} {code[3:]}\n"
        f"Good once, for {lives_s / 60:.0f} minutes. Whoever uses it {FOR[role]}."
    )


def _drawn(text: str) -> str:
    import segno

    drawn = io.StringIO()
    segno.make(text, error="l", micro=False).terminal(drawn, compact=True)
    return drawn.getvalue()
