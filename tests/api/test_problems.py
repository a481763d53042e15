"""RFC 9457."""

import re

import pytest

from geartender.client.problems import _all_kinds
from geartender.errors import Refused
from geartender.problems import PROBLEMS, problem_body
from tests.api.kit import Kit, run

DESIGNED = {
    "offline": 503,
    "disarmed": 409,
    "not-homed": 409,
    "faulted": 409,
    "helm-held": 409,
    "busy": 409,
    "outside-travel": 422,
    "over-limit": 422,
    "invalid": 422,
    "unknown": 404,
    "unauthenticated": 401,
    "forbidden": 403,
    "stale": 412,
    "revision-required": 428,
    "too-many-attempts": 429,
    "too-large": 413,
}


def test_the_table_has_what_was_promised() -> None:
    assert {slug: problem.status for slug, problem in PROBLEMS.items()}.items() >= DESIGNED.items()


def test_every_refusal_has_a_problem() -> None:
    assert {kind.slug for kind in _all_kinds(Refused)} - {"refused"} <= PROBLEMS.keys()


@pytest.mark.parametrize("slug", PROBLEMS)
def test_a_problem_is_as_rfc_9457_section_3_1_says(slug: str) -> None:
    body = problem_body(slug, "this time", type="no", status=1)
    assert body["type"] == f"/problems/{slug}"
    assert body["status"] == PROBLEMS[slug].status
    assert body["detail"] == "this time"


@pytest.mark.parametrize("slug", PROBLEMS)
def test_the_page_of_a_problem_says_what_it_means_and_what_to_do(slug: str) -> None:
    async def test(kit: Kit) -> None:
        answer = await kit.http.get(f"/problems/{slug}")
        assert answer.status_code == 200
        assert answer.headers["content-type"].startswith("text/html")
        assert f"<h1>{PROBLEMS[slug].title.replace(chr(39), '&#39;')}</h1>" in answer.text
        assert "<script" not in answer.text
        assert "style=" not in answer.text

    run(test)


@pytest.mark.parametrize(
    "path", ["/problems/nothing", "/nothing", "/api/v1/nothing", "/api/v1/servos/door", "/api/v1/servos/vent/motions/x"]
)
def test_what_is_not_there_is_unknown(path: str) -> None:
    async def test(kit: Kit) -> None:
        answer = await kit.http.get(path, headers={"Accept": "application/json"})
        assert answer.status_code == 404
        assert answer.headers["content-type"] == "application/problem+json"
        assert answer.json()["type"] == "/problems/unknown"
        assert not re.search(r"Traceback|\.py", answer.text)

    run(test)
