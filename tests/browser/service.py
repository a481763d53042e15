"""The demo seen over HTTP by a second client, to check what the page made it do."""

from __future__ import annotations

import subprocess
import time
from collections.abc import Callable
from typing import Any, Self

import httpx

PATIENCE_S = 20.0
LOOK_EVERY_S = 0.02
PREPARE_AT_MOST = 5
AT_REST = {"disarmed", "ready", "faulted", "offline"}


class Service:
    """A running demo and its servo `vent`."""

    def __init__(self, address: str, process: subprocess.Popen[str], key: str) -> None:
        self.address = address
        self.process = process
        headers = {"Geartender-Client": "test", "Authorization": f"Bearer {key}"}
        self._http = httpx.Client(base_url=address + "api/v1/", headers=headers, timeout=PATIENCE_S, trust_env=False)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._http.close()

    def post(self, path: str, body: dict[str, Any] | None = None, *, wait_s: float | None = None) -> httpx.Response:
        headers = {} if wait_s is None else {"Prefer": f"wait={wait_s:g}"}
        return self._http.post(path, json=body or {}, headers=headers)

    def snapshot(self) -> dict[str, Any]:
        answer: dict[str, Any] = self._http.get("servos/vent").raise_for_status().json()
        return answer

    def invite(self, role: str) -> dict[str, Any]:
        """An invitation for a phone: its code and its address."""
        answer: dict[str, Any] = self.post("pairing/offers", {"role": role}).raise_for_status().json()
        return answer

    def let_in(self) -> dict[str, dict[str, Any]]:
        """The phones and keys, by name."""
        return {one["name"]: one for one in self._http.get("credentials").raise_for_status().json()["items"]}

    def revoke(self, name: str) -> None:
        """Let a phone or key in no longer."""
        one = self.let_in()[name]["id"]
        self._http.delete(f"credentials/{one}", params={"anyway": True}).raise_for_status()

    def give_role(self, name: str, role: str) -> None:
        """Let a phone or key in for something else."""
        self._http.put(f"credentials/{self.let_in()[name]['id']}", json={"role": role}).raise_for_status()

    def host_port(self) -> tuple[str, int]:
        """Where it listens."""
        url = httpx.URL(self.address)
        assert url.port is not None
        return url.host, url.port

    def motions(self) -> list[dict[str, Any]]:
        """The motions that the service remembers."""
        answer: list[dict[str, Any]] = self._http.get("servos/vent/motions").raise_for_status().json()["items"]
        return answer

    def sheet(self) -> dict[str, Any]:
        answer: dict[str, Any] = self._http.get("servos/vent/build").raise_for_status().json()
        return answer

    def put_sheet(self, sheet: dict[str, Any]) -> None:
        """Put a sheet in force, whatever is there."""
        self._http.put("servos/vent/build", json=sheet, headers={"If-Match": "*"}).raise_for_status()

    def put_measured(self, document: dict[str, Any]) -> None:
        """Put what the bench found in force, where nothing was."""
        self._http.put("servos/vent/measured", json=document, headers={"If-None-Match": "*"}).raise_for_status()

    def measured(self) -> dict[str, Any]:
        """What the bench found."""
        answer: dict[str, Any] = self._http.get("servos/vent/measured").raise_for_status().json()
        return answer

    def sequence(self, name: str) -> dict[str, Any]:
        answer: dict[str, Any] = self._http.get(f"sequences/{name}").raise_for_status().json()
        return answer

    def entry(self, name: str) -> dict[str, Any]:
        answer: dict[str, Any] = self._http.get(f"timetable/{name}").raise_for_status().json()
        return answer

    def put_sequence(self, name: str, document: dict[str, Any]) -> None:
        """Store a sequence, whatever is there."""
        self._put_document(f"sequences/{name}", document)

    def put_entry(self, name: str, document: dict[str, Any]) -> None:
        """Store an entry of the timetable, whatever is there."""
        self._put_document(f"timetable/{name}", document)

    def _put_document(self, path: str, document: dict[str, Any]) -> None:
        there = self._http.get(path).status_code == 200
        condition = {"If-Match": "*"} if there else {"If-None-Match": "*"}
        self._http.put(path, json=document, headers=condition).raise_for_status()

    def clear_sequences(self) -> None:
        """End the runs that are under way, and delete every entry and every sequence."""
        for run in self._http.get("runs").raise_for_status().json()["items"]:
            if run["state"] in {"queued", "running", "held"}:
                self.post(f"runs/{run['id']}/stop")
        for kind in ("timetable", "sequences"):
            for item in self._http.get(kind).raise_for_status().json()["items"]:
                self._http.delete(f"{kind}/{item['name']}", headers={"If-Match": "*"}).raise_for_status()

    def until(self, wanted: Callable[[dict[str, Any]], bool]) -> dict[str, Any]:
        """The first snapshot that is as wanted."""
        deadline = time.monotonic() + PATIENCE_S
        while not wanted(snapshot := self.snapshot()):
            assert time.monotonic() < deadline, snapshot
            time.sleep(LOOK_EVERY_S)
        return snapshot

    def state_is(self, *states: str) -> dict[str, Any]:
        return self.until(lambda snapshot: snapshot["state"] in states)

    def trouble(self, command: str) -> None:
        self.post("simulation", {"command": command}).raise_for_status()

    def take_the_helm_as(self, client: str) -> None:
        """Let somebody else hold the helm."""
        answer = self._http.post("servos/vent/helm", json={"force": True}, headers={"Geartender-Client": client})
        answer.raise_for_status()

    def make_ready(self) -> None:
        """Whatever the test before left behind: free, armed, homed, at rest at 10°, the helm given back.

        Where the machine is too busy to keep the link alive, the servo stops itself in between: then begin again.
        """
        assert any(self._prepare() for _ in range(PREPARE_AT_MOST)), self.snapshot()
        self._http.delete("servos/vent/helm").raise_for_status()

    def _prepare(self) -> bool:
        self.trouble("free")
        self.until(lambda snapshot: snapshot["state"] != "offline")
        self.post("servos/vent/helm", {"force": True}).raise_for_status()
        if self.until(lambda snapshot: snapshot["state"] in AT_REST)["state"] == "faulted":
            self.post("servos/vent/reset")
        self.post("servos/vent/arm")
        if not self.snapshot()["homed"]:
            self.post("servos/vent/home", wait_s=PATIENCE_S)
        self._http.put("servos/vent/override", json={"speed": 1.0})
        self.post("servos/vent/moves", {"to_deg": 10.0}, wait_s=PATIENCE_S)
        end = self.until(lambda snapshot: snapshot["state"] in AT_REST)
        return (
            end["state"] == "ready" and end["homed"] and abs(end["angle_deg"] - 10.0) < 1.0 and end["override"] == 1.0
        )

    def make_unhomed(self) -> None:
        """A board that has just started: disarmed, its position forgotten, the fault of the start cleared."""
        self.post("servos/vent/helm", {"force": True}).raise_for_status()
        self.trouble("reset")
        self.until(lambda snapshot: not snapshot["homed"] and snapshot["state"] in {"faulted", "disarmed"})
        self.post("servos/vent/reset")
        self.state_is("disarmed")
        self._http.delete("servos/vent/helm").raise_for_status()
