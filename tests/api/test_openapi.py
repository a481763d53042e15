"""The description of the interface is complete, and the committed copy is what the service says.

To renew the copy after a change that is meant: python -m tests.api.test_openapi
"""

import asyncio
import json
from pathlib import Path
from typing import Any

import pytest

from geartender.api import examples
from geartender.api.app import create_app
from geartender.api.models import Listing, TruthReport
from geartender.cli.running import ridge_vent
from geartender.config import parse_settings
from geartender.servo.models import MotionReport, Snapshot, TraceRow

COPY = Path(__file__).with_name("openapi.json")
METHODS = {"get", "put", "post", "delete"}


def described() -> dict[str, Any]:
    async def main() -> dict[str, Any]:
        settings = parse_settings({"servo": [{"name": "vent", "port": "none", "build": ridge_vent()}]})
        return create_app(settings).openapi()

    return asyncio.run(main())


@pytest.fixture(scope="module")
def document() -> dict[str, Any]:
    return described()


def operations(document: dict[str, Any]) -> list[tuple[str, dict[str, Any]]]:
    return [
        (f"{method} {path}", operation)
        for path, item in document["paths"].items()
        for method, operation in item.items()
        if method in METHODS
    ]


def test_the_committed_copy_is_current(document: dict[str, Any]) -> None:
    assert json.loads(COPY.read_text()) == document


def test_every_operation_is_named_tagged_and_told(document: dict[str, Any]) -> None:
    tags = {tag["name"] for tag in document["tags"]}
    ids = [operation["operationId"] for _, operation in operations(document)]
    assert len(set(ids)) == len(ids)
    for name, operation in operations(document):
        assert operation["operationId"].isalpha(), name
        assert operation["summary"], name
        assert set(operation["tags"]) <= tags, name
        assert all(parameter.get("description") for parameter in operation.get("parameters", [])), name


def test_every_operation_tells_its_problems(document: dict[str, Any]) -> None:
    for name, operation in operations(document):
        problems = {status: answer for status, answer in operation["responses"].items() if int(status) >= 400}
        assert {"403", "422", "500"} <= problems.keys(), name
        for answer in problems.values():
            assert list(answer["content"]) == ["application/problem+json"], name
    assert "HTTPValidationError" not in document["components"]["schemas"]


def test_every_reference_leads_somewhere(document: dict[str, Any]) -> None:
    def walk(part: Any) -> None:
        if isinstance(part, dict):
            if "$ref" in part:
                assert part["$ref"].removeprefix("#/components/schemas/") in document["components"]["schemas"]
            for value in part.values():
                walk(value)
        elif isinstance(part, list):
            for value in part:
                walk(value)

    walk(document)


def test_the_examples_are_what_the_models_say() -> None:
    Snapshot.model_validate(examples.SNAPSHOT)
    MotionReport.model_validate(examples.MOTION)
    Listing[TraceRow].model_validate(examples.TRACE)
    TruthReport.model_validate(examples.TRUTH)


if __name__ == "__main__":
    COPY.write_text(json.dumps(described(), indent=1, ensure_ascii=False) + "\n")
