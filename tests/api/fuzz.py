"""Requests made up from the service's own description of itself, by a general-purpose fuzzer, sent to a running service.

After each answer: no 5xx that was not meant, nothing that the description does not say, and no motion that nobody was granted.
"""

from __future__ import annotations

import json
from collections import Counter
from dataclasses import dataclass, field
from typing import Any

import schemathesis
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from schemathesis import Case, GenerationMode
from schemathesis.core.failures import Failure, FailureGroup
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_headers_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from tests.browser.service import Service

CONFORMS = (
    status_code_conformance,
    content_type_conformance,
    response_headers_conformance,
    response_schema_conformance,
)

SETTINGS = settings(
    derandomize=True, deadline=None, database=None, phases=[Phase.generate], suppress_health_check=list(HealthCheck)
)

MEANT_5XX = {"offline", "not-stored"}
"""Problems that say the servo is away or the disk is full: true answers, not failures."""

AWAY = {"release", "setSource", "commandSimulation"}
"""Operations after which the servo is away, led by another, or broken, as was asked for: it is made ready after each of their requests."""

PREPARES, BY_A_RUN = "test", ", started by "
"""Who else may move it: what makes it ready, and runs that were granted."""

MAKES = {"home": "motions", "move": "motions", "turn": "motions", "runSequence": "runs"}
"""What an operation makes that has a number of its own."""

KNOWN_PATH = {"servo": "vent", "name": "nod"}
"""Half of the requests name something that is there; the others whatever the fuzzer thinks of."""


@schemathesis.serializer("application/zip")
def _archive(_context: schemathesis.SerializationContext, value: Any) -> bytes:
    """A made-up archive is whatever bytes the fuzzer thinks of."""
    return value if isinstance(value, bytes) else json.dumps(value).encode()


@dataclass
class Seen:
    """What came of the requests."""

    statuses: Counter[str] = field(default_factory=Counter)
    operations: Counter[str] = field(default_factory=Counter)
    granted: set[str] = field(default_factory=set)
    wrong: list[str] = field(default_factory=list)


class Fuzz:
    """The requests to one service, and the witness beside them."""

    def __init__(self, service: Service) -> None:
        self.seen = Seen()
        self._service = service
        self._ids: dict[str, str] = {}
        self._schema = schemathesis.openapi.from_url(f"{service.address}api/v1/openapi.json")
        self._described = {
            one.definition.raw["operationId"]: one
            for one in (found.ok() for found in self._schema.get_all_operations())
        }

    def operations(self) -> dict[str, Any]:
        """Every operation by its name; those that lead the servo away come last."""
        return dict(sorted(self._described.items(), key=lambda item: item[0] in AWAY))

    def _make_ready(self) -> None:
        """Armed, homed, at rest, with something stored."""
        if self._service.snapshot()["state"] != "ready":
            self._service.make_ready()
        self._service.put_sequence("nod", {"steps": [{"do": "move", "to_deg": 12}, {"do": "move", "to_deg": 10}]})
        self._service.put_entry("nod", {"sequence": "nod", "cron": "0 6 * * *", "enabled": False})

    def attack(self, name: str, operation: Any, examples: int) -> None:
        """Send so many requests of one operation, valid and invalid ones, half of them to what is there."""
        self._make_ready()

        @settings(SETTINGS, max_examples=examples)
        @given(st.data())
        def send(data: st.DataObject) -> None:
            case = data.draw(requests_of(operation))
            self._judge(name, case, case.call())

        send()

    def wander(self, walks: int, steps: int) -> None:
        """Go from operation to operation in any order; what one answered goes into the path of the next."""
        operations = {name: one for name, one in self.operations().items() if name not in AWAY}
        step = st.sampled_from(sorted(operations)).flatmap(
            lambda name: requests_of(operations[name]).map(lambda case: (name, case))
        )

        @settings(SETTINGS, max_examples=walks)
        @given(st.lists(step, min_size=steps, max_size=steps))
        def walk(taken: list[tuple[str, Case]]) -> None:
            self._make_ready()
            for name, case in taken:
                known = self._ids.get(case.operation.path.partition("/{id}")[0].rpartition("/")[2])
                if known and "id" in case.path_parameters:
                    case.path_parameters["id"] = known
                self._judge(name, case, case.call())

        walk()

    def _judge(self, name: str, case: Case, response: Any) -> None:
        self.seen.operations[name] += 1
        self.seen.statuses[f"{response.status_code // 100}xx"] += 1
        body = _json(response)
        if response.status_code >= 500 and str(body.get("type", "")).removeprefix("/problems/") not in MEANT_5XX:
            self._blame(name, case, f"answered {response.status_code} {response.text[:200]}")
        for check in CONFORMS:
            try:
                case.validate_response(response, checks=[check])
            except (Failure, FailureGroup) as failure:
                self._blame(name, case, str(failure)[:400])
        if response.status_code in (200, 202) and name in MAKES:
            self._ids[MAKES[name]] = str(body["id"])
            if MAKES[name] == "motions":
                self.seen.granted.add(str(body["id"]))
        self._witness(name, case, response.status_code)
        if name in AWAY:
            self._make_ready()

    def _witness(self, name: str, case: Case, status: int) -> None:
        """Whatever moves now was granted, or belongs to a run that was."""
        for item in self._service.motions():
            by_others = item["asked_by"] == PREPARES or BY_A_RUN in item["asked_by"]
            began = (
                item["state"] != "stopped" or item["actual_s"] is not None
            )  # else it was refused when it was planned
            if began and item["id"] not in self.seen.granted and not by_others:
                self._blame(name, case, f"answered {status}, and yet {item['kind']} {item['id']} began")
                self.seen.granted.add(item["id"])

    def _blame(self, name: str, case: Case, text: str) -> None:
        self.seen.wrong.append(f"{name}: {text}\n    {case.as_curl_command()}")


def requests_of(operation: Any) -> st.SearchStrategy[Case]:
    """Valid and invalid requests of an operation, to what is there and to what is not."""
    known = {
        parameter.name: KNOWN_PATH[parameter.name]
        for parameter in operation.path_parameters
        if parameter.name in KNOWN_PATH
    }
    modes = [GenerationMode.POSITIVE, GenerationMode.NEGATIVE]
    strategies = [operation.as_strategy(mode) for mode in modes]
    if known:
        strategies += [operation.as_strategy(mode, path_parameters=known) for mode in modes]
    return st.one_of(strategies)


def _json(response: Any) -> dict[str, Any]:
    try:
        body = response.json()
    except ValueError:
        return {}
    return body if isinstance(body, dict) else {}
