"""`Prefer: wait=N` (RFC 7240): hold the answer until what was started is done, N seconds at most. Pure, but for the waiting."""

from __future__ import annotations

import asyncio
import re
from collections.abc import Awaitable, Callable

WAIT_MAX_S = 60.0
"""s; longer than that, proxies and phones give up on a connection. Whoever wants more asks again."""

_WAIT = re.compile(r'(?:^|[,;])\s*wait\s*=\s*"?(\d{1,9})"?\s*(?=$|[,;])', re.IGNORECASE)


def wanted_wait_s(prefer: str | None) -> float | None:
    """Seconds that the field asks to wait, bounded; None if it asks for no wait. What it does not know it ignores (section 2)."""
    found = _WAIT.search(prefer or "")
    return min(float(found.group(1)), WAIT_MAX_S) if found else None


async def settle(end: Callable[[], Awaitable[object]], wait_s: float | None) -> bool:
    """Wait for `end` as long as was asked for; whether it came. Without a wait: no."""
    if wait_s is None:
        return False
    try:
        async with asyncio.timeout(wait_s):
            await end()
    except TimeoutError:
        return False
    return True


def applied(wait_s: float | None) -> dict[str, str]:
    """The header that says which wait was honoured (section 3)."""
    return {} if wait_s is None else {"Preference-Applied": f"wait={wait_s:g}"}
