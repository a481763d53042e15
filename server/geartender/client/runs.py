"""Runs of sequences, as a script sees them."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any
from urllib.parse import quote

from geartender.client.http import Http
from geartender.errors import RunNotDone, RunStoppedItself

Document = dict[str, Any]
RunProgress = Callable[[Document], None]
"""Called with the run, while it is waited for."""

UNDER_WAY = frozenset({"queued", "running", "held"})

WAIT_S = 5
"""s that the service holds an answer while a run is waited for; half of what a request may take."""

LOOK_EVERY_S = 0.25
"""s between two looks at a run that somebody watches."""


class RemoteRuns:
    """The runs of a service."""

    def __init__(self, http: Http) -> None:
        self._http = http

    def list(self, sequence: str | None = None) -> list[Document]:
        """The newest runs, newest first, without their steps."""
        query = "" if sequence is None else f"?sequence={quote(sequence, safe='')}"
        items: list[Document] = self._http.get(f"/api/v1/runs{query}")["items"]
        return items

    def get(self, run_id: str, after: int = -1) -> Document:
        """A run, with its steps from behind a position on."""
        found: Document = self._http.get(f"{self._path(run_id)}?after={after}")
        return found

    def start(self, sequence: str, servo: str | None = None) -> Document:
        """Start one. Raises Refused."""
        found: Document = self._http.start(
            f"/api/v1/sequences/{quote(sequence, safe='')}/runs", {} if servo is None else {"servo": servo}
        )
        return found

    def run(self, sequence: str, servo: str | None = None, progress: RunProgress | None = None) -> Document:
        """Start one and wait for its end, however long that takes; interrupting it ends the run.

        Raises Refused when it cannot begin, RunNotDone (RunStoppedItself after a fault) when it ended otherwise than as done.
        """
        run = self.start(sequence, servo)
        try:
            run = self._follow(run, progress)
        except KeyboardInterrupt:
            self.stop(run["id"])
            raise
        if run["state"] == "done":
            return run
        raise (RunStoppedItself if run["state"] == "faulted" else RunNotDone)(run)

    def stop(self, run_id: str) -> Document:
        """End it; what moves comes to rest."""
        return self._post(run_id, "stop")

    def hold(self, run_id: str) -> Document:
        """Let it come to rest and wait."""
        return self._post(run_id, "hold")

    def resume(self, run_id: str) -> Document:
        """Let a held one go on."""
        return self._post(run_id, "resume")

    def _follow(self, run: Document, progress: RunProgress | None) -> Document:
        shown = -1
        while True:
            if progress is not None:
                progress(run)
            if run["state"] not in UNDER_WAY:
                return run
            if progress is None:
                run = self._http.get(self._path(run["id"]), {"Prefer": f"wait={WAIT_S}"})
                continue
            time.sleep(LOOK_EVERY_S)
            done = [step["position"] for step in run["steps"] if step["state"] != "running"]
            shown = max([shown, *done])
            run = self.get(run["id"], shown)

    def _post(self, run_id: str, act: str) -> Document:
        found: Document = self._http.send_until_answered("POST", f"{self._path(run_id)}/{act}")
        return found

    @staticmethod
    def _path(run_id: str) -> str:
        return f"/api/v1/runs/{quote(run_id, safe='')}"
