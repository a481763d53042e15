"""The bench, as a script sees it: procedures, their runs, what they ask, and the report."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any
from urllib.parse import quote

from geartender.client.http import Http
from geartender.errors import BenchFoundWrong, BenchNotDone, BenchStoppedItself

Document = dict[str, Any]
Answer = Callable[[Document], Any]
"""Called with a question; gives its answer, None to go on or to leave it out."""
BenchProgress = Callable[[Document], None]
"""Called with the run whenever it has been looked at."""

UNDER_WAY = frozenset({"running", "waiting"})

WAIT_S = 1
"""s that the service holds an answer while a run is followed: a person wants to see each step."""

ENDS = {"wrong": BenchFoundWrong, "faulted": BenchStoppedItself}


class RemoteBench:
    """The bench of a service."""

    def __init__(self, http: Http) -> None:
        self._http = http

    def list(self, servo: str | None = None) -> list[Document]:
        """The procedures, each with its last run on that servo."""
        items: list[Document] = self._http.get("/api/v1/bench" + _query(servo))["items"]
        return items

    def get(self, run_id: str, wait_s: int = 0) -> Document:
        """A run; with a wait, once it asks something or has ended, or after so long."""
        headers = {"Prefer": f"wait={wait_s}"} if wait_s else None
        found: Document = self._http.get(self._run(run_id), headers)
        return found

    def start(
        self, procedure: str, servo: str | None = None, answers: Document | None = None, *, auto: bool = False
    ) -> Document:
        """Begin one. With `auto` it goes on by itself after each announcement. Raises Refused."""
        body = {"answers": answers or {}, "auto": auto} | ({"servo": servo} if servo else {})
        found: Document = self._http.send("POST", f"/api/v1/bench/{quote(procedure, safe='')}/runs", body)
        return found

    def answer(self, run_id: str, question: str, value: Any = None) -> Document:
        """Answer what it asks; None lets it go on. Raises Refused."""
        found: Document = self._http.send("POST", self._run(run_id) + "/answer", {"question": question, "value": value})
        return found

    def stop(self, run_id: str) -> Document:
        """End it: drive goes at once."""
        found: Document = self._http.send_until_answered("POST", self._run(run_id) + "/stop")
        return found

    def run(
        self,
        procedure: str,
        answer: Answer,
        servo: str | None = None,
        answers: Document | None = None,
        *,
        auto: bool = False,
        progress: BenchProgress | None = None,
    ) -> Document:
        """Begin one and go through it; interrupting it, or an error of `answer`, ends it.

        Raises Refused when it cannot begin, BenchNotDone (BenchFoundWrong, BenchStoppedItself) when it did not end as done.
        """
        run = self.start(procedure, servo, answers, auto=auto)
        try:
            while run["state"] in UNDER_WAY:
                if progress is not None:
                    progress(run)
                asked = run["question"]
                if asked is not None:
                    run = self.answer(run["id"], asked["id"], answer(asked))
                run = self.get(run["id"], WAIT_S)
        except BaseException:
            self.stop(run["id"])
            raise
        if progress is not None:
            progress(run)
        if run["state"] == "done":
            return run
        raise ENDS.get(run["state"], BenchNotDone)(run)

    def report(self, servo: str | None = None, against: int | None = None) -> Document:
        """As designed, as built."""
        found: Document = self._http.get(self._report(servo, against))
        return found

    def report_text(self, accept: str, servo: str | None = None, against: int | None = None) -> str:
        """The same as `text/csv` or `text/html`."""
        return self._http.get_text(self._report(servo, against), accept)

    def health(self, servo: str | None = None) -> Document:
        """What normal moves say of wear."""
        found: Document = self._http.get(self.HEALTH + _query(servo))
        return found

    def health_table(self, servo: str | None = None) -> str:
        """Its points as CSV."""
        return self._http.get_text(self.HEALTH + _query(servo), "text/csv")

    HEALTH = "/api/v1/bench/health"

    @staticmethod
    def _report(servo: str | None, against: int | None) -> str:
        query = _query(servo)
        if against is not None:
            query += ("&" if query else "?") + f"against={against}"
        return "/api/v1/bench/report" + query

    @staticmethod
    def _run(run_id: str) -> str:
        return f"/api/v1/bench/runs/{quote(run_id, safe='')}"


def _query(servo: str | None) -> str:
    return "" if servo is None else f"?servo={quote(servo, safe='')}"
