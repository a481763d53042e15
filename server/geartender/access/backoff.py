"""Wrong tries: a few are free, then each costs a longer wait. Pure; times are handed in."""

from __future__ import annotations

from collections import OrderedDict
from dataclasses import dataclass

FREE = 5
"""Wrong tries without a wait: a person who mistypes, a phone with an old session."""

WAIT_FIRST_S = 1.0
"""s after the first wrong try that is not free; doubled with each further one."""

WAIT_MAX_S = 900.0
"""s; a quarter of an hour. Longer would lock out the owner for a child's game, and gain nothing against a guesser."""

FORGOTTEN_S = 3600.0
"""s without a wrong try after which all is forgotten."""

REMEMBERED_MAX = 512
"""Clients remembered; the one whose last wrong try is the longest ago is forgotten first."""


@dataclass(slots=True)
class _Record:
    wrong: int = 0
    last: float = 0.0
    until: float = 0.0


class Backoff:
    """The wrong tries of each client, by whatever names it."""

    def __init__(self) -> None:
        self._records: OrderedDict[str, _Record] = OrderedDict()

    def wait_s(self, client: str, now: float) -> float:
        """Seconds that this client has still to wait; 0.0: it may try."""
        record = self._records.get(client)
        return 0.0 if record is None else max(0.0, record.until - now)

    def wrong(self, client: str, now: float) -> None:
        """Count a wrong try."""
        record = self._records.pop(client, None)
        if record is None or now - record.last > FORGOTTEN_S:
            record = _Record()
        record.wrong += 1
        record.last = now
        if record.wrong > FREE:
            record.until = now + min(WAIT_MAX_S, WAIT_FIRST_S * 2.0 ** min(record.wrong - FREE - 1, 30))
        self._records[client] = record
        if len(self._records) > REMEMBERED_MAX:
            self._records.popitem(last=False)

    def right(self, client: str) -> None:
        """It got in: forget its wrong tries."""
        self._records.pop(client, None)
