"""One POST to somewhere else: the only way in which the service speaks to the outside by itself."""

from __future__ import annotations

from collections.abc import Mapping

TIMEOUT_S = 10.0
"""s for the whole of it; whoever is to hear of a fault answers in less."""


async def post(url: str, body: bytes, headers: Mapping[str, str]) -> int:
    """Send it, follow nothing, and give the status of the answer. Raises OSError when there is none."""
    import httpx

    try:
        async with httpx.AsyncClient(timeout=TIMEOUT_S, follow_redirects=False, trust_env=False) as client:
            answer = await client.post(url, content=body, headers=dict(headers))
    except (httpx.HTTPError, httpx.InvalidURL) as error:
        raise OSError(f"{type(error).__name__}: {error}") from error
    return answer.status_code
