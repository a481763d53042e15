"""The service from a script: `Client(url).servo("vent").move(to=40)`."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from pathlib import Path
from types import TracebackType
from typing import Any, Self
from urllib.parse import quote

import httpx

from geartender.client.access import RemoteAccess
from geartender.client.bench import RemoteBench
from geartender.client.documents import RemoteDocuments
from geartender.client.http import Http
from geartender.client.journal import Journal
from geartender.client.runs import RemoteRuns
from geartender.errors import NotDone, StoppedItself, TookTooLong

DEFAULT_URL = "http://127.0.0.1:8350"

LOOK_EVERY_S = 0.1
"""s between two looks at a motion that is waited for."""

SPARE_S = 30.0
"""s that a motion may take beyond its plan: settling, another that it was queued behind, a slow network."""

UNPLANNED_S = 300.0
"""s that a motion without a planned duration, such as homing, is waited for."""

Document = dict[str, Any]
Progress = Callable[[Document, Document], None]
"""Called with the motion and the snapshot, while a motion is waited for."""

FINAL = frozenset({"done", "replaced", "stopped", "faulted", "lost"})


class Client:
    """A connection to one service. A context manager; fields and units are those of the HTTP interface.

    Errors: Unreachable when nobody answers, a subclass of Refused by the kind of problem, NotDone (StoppedItself after a
    fault) when a motion that was waited for ended otherwise, TookTooLong.
    """

    def __init__(
        self,
        url: str = DEFAULT_URL,
        key: str | None = None,
        *,
        name: str | None = None,
        transport: httpx.BaseTransport | None = None,
    ) -> None:
        """`name` is shown to others as the holder of the helm, and clients of one name share it; else it is `user@machine`."""
        self._http = Http(url, key, name, transport)
        self.sequences = RemoteDocuments(self._http, "/api/v1/sequences")
        self.timetable = RemoteDocuments(self._http, "/api/v1/timetable")
        self.runs = RemoteRuns(self._http)
        self.journal = Journal(self._http)
        self.access = RemoteAccess(self._http)
        self.bench = RemoteBench(self._http)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close the connection. What moves goes on moving."""
        self._http.close()

    def servos(self) -> list[Document]:
        """Snapshots of all servos."""
        items: list[Document] = self._http.get("/api/v1/servos")["items"]
        return items

    def servo(self, name: str) -> RemoteServo:
        """The servo of that name; whether it exists shows at its first use."""
        return RemoteServo(self._http, name)

    def figures(self, sheet: Mapping[str, Any]) -> Document:
        """What follows from a build sheet, without a servo."""
        found: Document = self._http.send_until_answered("POST", "/api/v1/figures", dict(sheet))
        return found

    def preview(self, sequence: str, document: Document | None = None, servo: str | None = None) -> Document:
        """What a stored sequence would do, or this document in its place."""
        asked = _given({"document": document, "servo": servo})
        found: Document = self._http.send_until_answered("POST", f"{self.sequences.path(sequence)}/preview", asked)
        return found

    def next_slots(self, entry: str) -> list[Document]:
        """When an entry of the timetable is due next."""
        items: list[Document] = self._http.get(f"{self.timetable.path(entry)}/next")["items"]
        return items

    def notices(self) -> list[Document]:
        """What needs a person, newest first."""
        items: list[Document] = self._http.get("/api/v1/notices")["items"]
        return items

    def backup(self, file: Path) -> int:
        """Save everything that is kept as one archive; gives its size. Until it is whole it has another name."""
        part = file.with_name(file.name + ".part")
        size = self._http.download("/api/v1/backup", part)
        part.replace(file)
        return size

    def restore(self, file: Path) -> Document:
        """Put an archive in the place of everything; every servo is disarmed after. Gives what was restored."""
        found: Document = self._http.upload("/api/v1/backup", file, "application/zip")
        return found


class RemoteServo:
    """One servo of a service."""

    def __init__(self, http: Http, name: str) -> None:
        self._http = http
        self.name = name
        self._path = f"/api/v1/servos/{quote(name, safe='')}"

    def status(self) -> Document:
        """The snapshot."""
        return self._document("GET", "")

    def arm(self) -> Document:
        """Let the bridge drive; moves nothing. Gives back the snapshot."""
        return self._document("POST", "/arm")

    def disarm(self) -> Document:
        """Take drive away at once."""
        return self._document("POST", "/disarm")

    def reset(self) -> Document:
        """Clear a fault; starts nothing, and leaves the servo disarmed."""
        return self._document("POST", "/reset")

    def stop(self, category: int = 1) -> Document:
        """Stop: 0 removes drive at once, 1 ramps down and removes it then, 2 ramps down and keeps it."""
        return self._document("POST", "/stop", {"category": category})

    def override(self, speed: float) -> Document:
        """Scale the planned speed, 0 to 1.5, also while it moves."""
        return self._document("PUT", "/override", {"speed": speed})

    def release(self) -> Document:
        """Let the service go of the servo's port, while it is disarmed, so that another program can use it."""
        return self._document("POST", "/release")

    def reconnect(self) -> Document:
        """Let the service take the port again."""
        return self._document("POST", "/reconnect")

    def lead(self, source: str) -> Document:
        """Let `pulse`, the pulse at the input, lead, which may move the servo at once; or take it back with `host`."""
        return self._document("PUT", "/source", {"source": source})

    def take_helm(self, force: bool = False) -> Document:
        """Take the right to start motion; `force` takes it from its holder and stops what moves."""
        return self._document("POST", "/helm", {"force": force})

    def give_helm(self) -> Document:
        """Give it back."""
        return self._document("DELETE", "/helm")

    def home(self, wait: bool = True, progress: Progress | None = None) -> Document:
        """Find the home mark. Gives back the motion."""
        return self._move("/home", None, wait, progress)

    def move(
        self,
        to: float | None = None,
        by: float | None = None,
        *,
        wait: bool = True,
        progress: Progress | None = None,
        **options: float | str | None,
    ) -> Document:
        """Go to an angle, or by an angle, in degrees. Gives back the motion, ended unless `wait` is false.

        `options` as in HTTP: speed_deg_s, accel_deg_s2, jerk_deg_s3, duration_s, torque_nm, when_busy.
        """
        return self._move("/moves", _given({"to_deg": to, "by_deg": by, **options}), wait, progress)

    def turn(
        self,
        speed_deg_s: float,
        *,
        for_s: float | None = None,
        turns: float | None = None,
        wait: bool = True,
        progress: Progress | None = None,
    ) -> Document:
        """Rotate at a held speed, for a time or a number of turns; with neither until stopped, and then without a wait."""
        asked = _given({"speed_deg_s": speed_deg_s, "for_s": for_s, "turns": turns})
        return self._move("/turns", asked, wait and (for_s is not None or turns is not None), progress)

    def motion(self, motion_id: str) -> Document:
        """A motion, as it stands."""
        return self._document("GET", f"/motions/{quote(motion_id, safe='')}")

    def trace(self, motion_id: str) -> list[Document]:
        """The fast record of a motion."""
        items: list[Document] = self._document("GET", f"/motions/{quote(motion_id, safe='')}/trace")["items"]
        return items

    def build(self) -> Document:
        """The build sheet in force."""
        return self._document("GET", "/build")

    def figures(self) -> Document:
        """What follows from the build sheet in force."""
        return self._document("GET", "/figures")

    def _document(self, method: str, path: str, body: Document | None = None) -> Document:
        found: Document = self._http.send_until_answered(method, self._path + path, body)
        return found

    def _move(self, path: str, body: Document | None, wait: bool, progress: Progress | None) -> Document:
        try:
            motion: Document = self._http.start(self._path + path, body)
            return self._follow(motion, progress) if wait else motion
        except KeyboardInterrupt:
            self.stop()
            raise

    def _follow(self, motion: Document, progress: Progress | None) -> Document:
        planned = motion["planned_s"]
        until = time.monotonic() + (UNPLANNED_S if planned is None else planned + SPARE_S)
        while motion["state"] not in FINAL:
            if time.monotonic() > until:
                self.stop()
                raise TookTooLong(f"the {motion['kind']} was not done in time; a stop was sent")
            time.sleep(LOOK_EVERY_S)
            motion = self.motion(motion["id"])
            if progress is not None:
                progress(motion, self.status())
        if motion["state"] == "done":
            return motion
        raise (StoppedItself if motion["state"] == "faulted" else NotDone)(motion)


def _given(fields: Document) -> Document:
    return {name: value for name, value in fields.items() if value is not None}
