"""Guesses at codes, invitations, keys, sessions and passphrases against a running service: none gets in, and the right ones still do.

python -m tests.benchmarks.guesses [--guesses 100000] [--seed 1] [--check]. Guessers come from several addresses of this machine; meanwhile a script
with a key asks again and again from another, and so do, now and then, a phone with a fresh code (while one address guesses at codes) and
one with the secret of a fresh invitation (always). With `--check` it fails when a guess got in or a right one did not.
"""

from __future__ import annotations

import argparse
import asyncio
import base64
import json
import random
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import httpx

from tests.end_to_end.shed import COMMAND, VENT, made_key

CODE_GUESSER = "127.0.0.2"
KEY_GUESSERS = ("127.0.0.3", "127.0.0.4", "127.0.0.5")
GOOD = "127.0.0.9"
"""Its own address: what others guess must not count against it."""

AT_ONCE = 4
"""Guesses under way from each address."""

GUESS, RIGHT = "a guess", "a phone that was invited"
"""Names: a right one may be cut off between being let in and leaving again."""

GOOD_EVERY_S = 0.2
PAIR_EVERY_S = 2.0
CUT_OFF_MAX = 5
"""Times that a client connects anew when it was let go of."""

TRIES_MAX = 20
"""Times that a phone asks again when it is told to wait; each time as long as it is told."""


@dataclass
class Seen:
    """What came of it."""

    guesses: Counter[str] = field(default_factory=Counter)
    got_in: list[str] = field(default_factory=list)
    right: Counter[str] = field(default_factory=Counter)
    waited: int = 0
    failed: list[str] = field(default_factory=list)


class Guesses:
    """Guessers and right ones against one service."""

    def __init__(self, url: str, key: str, seed: int) -> None:
        self.seen = Seen()
        self._url, self._key = url, key
        self._chance = random.Random(seed)
        self._left = 0

    async def run(self, number: int) -> None:
        """Guess so often in all, while the right ones come and go."""
        self._left = number
        async with asyncio.TaskGroup() as tasks:
            right = [tasks.create_task(one) for one in (self._ask(), self._pair("secret"), self._pair("code"))]
            guessers = [tasks.create_task(self._guess(CODE_GUESSER, self._code())) for _ in range(AT_ONCE)]
            for address in KEY_GUESSERS:
                guessers += [tasks.create_task(self._guess(address, self._secret())) for _ in range(AT_ONCE)]
            await asyncio.wait(guessers)
            for one in right:
                one.cancel()

    async def _guess(self, address: str, guesses: Iterator[dict[str, Any]]) -> None:
        async with client(self._url, address) as http:
            while self._left > 0:
                self._left -= 1
                guess = next(guesses)
                answer = await asked(http, guess)
                self.seen.guesses[f"{guess['url']} {answer.status_code}"] += 1
                if answer.status_code not in (401, 403, 429):
                    self.seen.got_in.append(f"{answer.status_code} {guess}")

    def _code(self) -> Iterator[dict[str, Any]]:
        while True:
            yield pairing(GUESS, code=f"{self._chance.randrange(1_000_000):06d}")

    def _secret(self) -> Iterator[dict[str, Any]]:
        """Keys, sessions and invitations: of the right form, shortened and lengthened right ones, and rubbish."""
        while True:
            token = "gt_" + base64.urlsafe_b64encode(self._chance.randbytes(32)).rstrip(b"=").decode()
            near = self._key[: self._chance.randrange(len(self._key))]
            guess = (
                self._chance.choice((token, token, near, self._key + token[-1], self._key.swapcase(), token[:9])) or "x"
            )
            kind = self._chance.randrange(3)
            if kind == 0:
                yield {"method": "GET", "url": "/api/v1/servos", "headers": {"Authorization": f"Bearer {guess}"}}
            elif kind == 1:
                port = self._url.rpartition(":")[2]
                yield {"method": "GET", "url": "/api/v1/me", "headers": {"Cookie": f"geartender-{port}={guess}"}}
            else:
                yield pairing(GUESS, secret=guess)

    async def _ask(self) -> None:
        """A script with its key, again and again."""
        async with client(self._url, GOOD) as http:
            while True:
                headers = {"Authorization": f"Bearer {self._key}"}
                answer = await asked(http, {"method": "GET", "url": "/api/v1/me", "headers": headers})
                self._note("key", answer.status_code == 200, answer)
                await asyncio.sleep(GOOD_EVERY_S)

    async def _pair(self, way: str) -> None:
        """A phone with a fresh invitation, now and then."""
        while True:
            async with client(self._url, GOOD) as http:
                offer = await http.post(
                    "/api/v1/pairing/offers", json={"role": "watch"}, headers={"Authorization": f"Bearer {self._key}"}
                )
                answer = await self._patiently(http, pairing(RIGHT, **{way: offer.json()[way]}))
                self._note(way, answer.status_code == 201, answer)
                if answer.status_code == 201:
                    await http.delete("/api/v1/me", headers={"Origin": self._url})
            await asyncio.sleep(PAIR_EVERY_S)

    async def _patiently(self, http: httpx.AsyncClient, request: dict[str, Any]) -> httpx.Response:
        for _ in range(TRIES_MAX):
            answer = await asked(http, request)
            if answer.status_code != 429:
                return answer
            self.seen.waited += 1
            await asyncio.sleep(answer.json()["retry_after_s"])
        return answer

    def _note(self, what: str, got_in: bool, answer: httpx.Response) -> None:
        self.seen.right[what] += 1
        if not got_in:
            self.seen.failed.append(f"{what}: {answer.status_code} {answer.text[:200]}")


async def asked(http: httpx.AsyncClient, request: dict[str, Any]) -> httpx.Response:
    """The answer; asked again, as any client does, where the service had let go of a connection just then."""
    for _ in range(CUT_OFF_MAX):
        try:
            return await http.request(**request)
        except (httpx.RemoteProtocolError, httpx.ReadError, httpx.WriteError):
            await asyncio.sleep(0.1)
    return await http.request(**request)


def pairing(name: str, **given: str) -> dict[str, Any]:
    """A request to be let in by an invitation, under a name."""
    return {"method": "POST", "url": "/api/v1/pairing", "json": {"name": name, **given}}


def client(url: str, address: str) -> httpx.AsyncClient:
    """A client with a network address of its own."""
    return httpx.AsyncClient(base_url=url, transport=httpx.AsyncHTTPTransport(local_address=address), timeout=60.0)


@contextmanager
def serving(folder: Path) -> Iterator[tuple[str, str]]:
    """A service whose board is not there, its address, and a key that manages it."""
    config = folder / "service.toml"
    config.write_text(
        f'[service]\nport = 0\ndata_dir = "data"\n[[servo]]\nname = "vent"\nport = "{folder}/none"\nbuild = "{VENT}"\n'
    )
    key = made_key(config, "manage")
    service = subprocess.Popen(
        [COMMAND, "serve", "--config", str(config)], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True
    )
    try:
        assert service.stdout is not None
        yield service.stdout.readline().strip().rstrip("/"), key
    finally:
        service.send_signal(signal.SIGTERM)
        service.communicate(timeout=30)


def guessed(number: int, seed: int) -> tuple[Seen, int, int]:
    """What came of so many guesses, how many are let in after them, and how many entries the journal has about it."""
    with tempfile.TemporaryDirectory() as folder, serving(Path(folder)) as (url, key):
        guesses = Guesses(url, key, seed)
        asyncio.run(guesses.run(number))
        headers = {"Authorization": f"Bearer {key}"}
        let_in = httpx.get(f"{url}/api/v1/credentials", headers=headers).json()["items"]
        refused = httpx.get(f"{url}/api/v1/journal?kind=access&text=refused&limit=200", headers=headers).json()["items"]
        return guesses.seen, len([one for one in let_in if one["name"].startswith(GUESS)]), len(refused)


def main() -> int:
    """Guess and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--guesses", type=int, default=100_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--check", action="store_true")
    options = parser.parse_args()
    began = time.monotonic()
    seen, strangers, entries = guessed(options.guesses, options.seed)
    print(f"{sum(seen.guesses.values())} guesses in {time.monotonic() - began:.0f} s, seed {options.seed}")
    print(json.dumps(dict(sorted(seen.guesses.items())), indent=1))
    print(f"got in: {len(seen.got_in)}; let in under a guess's name afterwards: {strangers}")
    print(f"right ones meanwhile: {dict(seen.right)}, told to wait {seen.waited} times, refused {len(seen.failed)}")
    print(f"entries of the journal about it: {entries}")
    for line in (*seen.got_in[:5], *seen.failed[:5]):
        print(line)
    return int(options.check and bool(seen.got_in or seen.failed or strangers))


if __name__ == "__main__":
    sys.exit(main())
