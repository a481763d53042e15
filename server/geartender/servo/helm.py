"""The helm: the right to start motion. One holder at a time; anybody who was let in may stop.

It belongs to the phone or key, so that two programs of one key drive together. Whoever is on this machine has none of these: then
it belongs to the client, by the name that it gives itself.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from geartender.errors import HelmHeld
from geartender.servo.models import HelmReport
from geartender.servo.motions import Who

LAPSE_S = 60.0
"""s without a command after which a helm that was asked for is free again, if nothing moves: a phone in a pocket must not lock
the vent."""

PASSING_LAPSE_S = 1.0
"""s after which a helm that merely came with a command is free again, once nothing moves: a script that is done lets go."""


@dataclass(slots=True)
class _Hold:
    who: Who
    since: datetime
    used: float
    asked: bool
    """Whether it was asked for, or came with a command."""


class Helm:
    """Who holds the right to start motion. Times are handed in."""

    def __init__(self) -> None:
        self._hold: _Hold | None = None

    @property
    def holder(self) -> Who | None:
        """Who holds it."""
        return self._hold.who if self._hold else None

    def take(self, who: Who, now: float, wall: datetime, *, asked: bool = False, force: bool = False) -> Who | None:
        """Take or keep it; gives the one it was taken from. Raises HelmHeld when another holds it and `force` is not given.

        With `asked` it is kept until it lapses or is given back; without, it is kept for what the command starts.
        """
        hold = self._hold
        if hold is not None and hold.who.bearer == who.bearer:
            hold.used = now
            hold.asked = hold.asked or asked
            return None
        if hold is not None and not force:
            raise HelmHeld(
                f"{hold.who.label} holds the helm. Take it over if you must, or wait.", holder=hold.who.label
            )
        self._hold = _Hold(who, wall, now, asked)
        return hold.who if hold else None

    def require(self, who: Who) -> None:
        """Raise HelmHeld when somebody else holds it."""
        if self._hold is not None and self._hold.who.bearer != who.bearer:
            label = self._hold.who.label
            raise HelmHeld(f"{label} holds the helm. Take it over if you must, or wait.", holder=label)

    def give(self, who: Who) -> None:
        """Give it back; nothing happens when it is not held by them."""
        if self._hold is not None and self._hold.who.bearer == who.bearer:
            self._hold = None

    def lapse(self, now: float, *, moving: bool) -> None:
        """Let it go when it was not used for long and nothing moves."""
        if self._hold is None:
            return
        if moving:
            self._hold.used = now
        elif now - self._hold.used > (LAPSE_S if self._hold.asked else PASSING_LAPSE_S):
            self._hold = None

    def report(self, who: Who | None) -> HelmReport | None:
        """How it stands, for one reader."""
        if self._hold is None:
            return None
        yours = who is not None and who.bearer == self._hold.who.bearer
        return HelmReport(holder=self._hold.who.label, since=self._hold.since, yours=yours)
