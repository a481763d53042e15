"""The search for gear trains as a process of its own: `python -m geartender.api.train_child`.

A search works for seconds without a pause; in the service it would hold up the beat that keeps a servo moving. Reads one JSON
object, `build` and `request`, on standard input; writes lines of JSON, `{"progress": 0.42}` now and then, and at last
`{"result": …}`.
"""

from __future__ import annotations

import json
import os
import sys
import time

from geartender.build import parse_build
from geartender.build.trains import TrainRequest, find_trains

NOW_AND_THEN_S = 0.2
"""s between two words of progress; as often, the service looks whether anybody still waits for the answer."""

PATIENCE = 10
"""How far this stands back behind everything else on the machine, as a niceness."""


class Progress:
    """Writes the share done, now and then."""

    def __init__(self) -> None:
        self._next = 0.0

    def __call__(self, share: float) -> None:
        now = time.monotonic()
        if now >= self._next:
            self._next = now + NOW_AND_THEN_S
            print(json.dumps({"progress": share}), flush=True)


def main() -> None:
    """Search once."""
    os.nice(PATIENCE)
    asked = json.load(sys.stdin)
    found = find_trains(parse_build(asked["build"]), TrainRequest.model_validate(asked["request"]), Progress())
    print(json.dumps({"result": found.model_dump(mode="json")}), flush=True)


if __name__ == "__main__":
    main()
