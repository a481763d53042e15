"""The client against scripted answers; against a real service it is tested in tests/end_to_end."""

import json
from collections.abc import Callable
from typing import Any

import httpx
import pytest

from geartender.client import Client
from geartender.client.client import FINAL, RemoteServo
from geartender.client.problems import lines_of
from geartender.errors import Disarmed, Invalid, NotDone, Refused, StoppedItself, Unreachable
from geartender.problems import PROBLEMS, problem_body
from geartender.servo.motions import FINAL as SERVO_FINAL

Answer = Callable[[httpx.Request], httpx.Response]


def motion(state: str, **fields: Any) -> dict[str, Any]:
    return {"id": "m-1", "servo": "vent", "kind": "move", "state": state, "planned_s": 0.0, "reason": None, **fields}


class Script:
    """Answers requests from a list, and writes them down."""

    def __init__(self, *answers: Any) -> None:
        self._answers = list(answers)
        self.requests: list[httpx.Request] = []

    def __call__(self, request: httpx.Request) -> httpx.Response:
        self.requests.append(request)
        answer = self._answers.pop(0)
        if isinstance(answer, BaseException):
            raise answer
        status, body = answer if isinstance(answer, tuple) else (200, answer)
        return httpx.Response(status, json=body)

    def servo(self) -> RemoteServo:
        return Client("http://vent.local", "secret", name="test", transport=httpx.MockTransport(self)).servo("vent")

    def lines(self) -> list[str]:
        return [f"{request.method} {request.url.path}" for request in self.requests]


def problem(slug: str, **extra: Any) -> tuple[int, dict[str, Any]]:
    return PROBLEMS[slug].status, problem_body(slug, "why", **extra)


@pytest.mark.parametrize("slug", PROBLEMS)
def test_every_problem_is_an_error_with_its_slug(slug: str) -> None:
    script = Script(problem(slug, note="more"))
    with pytest.raises(Refused) as caught:
        script.servo().arm()
    assert (caught.value.slug, caught.value.detail, caught.value.extra) == (slug, "why", {"note": "more"})


def test_known_problems_have_classes_of_their_own() -> None:
    with pytest.raises(Disarmed):
        Script(problem("disarmed")).servo().move(to=1)
    errors = [{"detail": "to_deg: is missing", "pointer": "#/to_deg"}]
    with pytest.raises(Invalid) as caught:
        Script(problem("invalid", errors=errors)).servo().move()
    assert lines_of(caught.value) == ["why", "to_deg: is missing"]


def test_it_says_who_it_is_and_sends_its_key() -> None:
    script = Script({})
    script.servo().status()
    headers = script.requests[0].headers
    assert (headers["geartender-client"], headers["authorization"]) == ("test", "Bearer secret")


def test_a_move_that_gets_no_answer_is_repeated_with_the_same_key() -> None:
    script = Script(httpx.ReadTimeout("lost"), httpx.RemoteProtocolError("cut"), (202, motion("running")))
    script.servo().move(by=5, speed_deg_s=3, wait=False)
    assert len({request.headers["idempotency-key"] for request in script.requests}) == 1
    assert json.loads(script.requests[-1].content) == {"by_deg": 5, "speed_deg_s": 3}


def test_nobody_there_is_said_at_once() -> None:
    script = Script(httpx.ConnectError("refused"))
    with pytest.raises(Unreachable, match=r"no answer from http://vent\.local"):
        script.servo().status()
    assert len(script.requests) == 1


def test_what_is_no_service_of_ours_is_unreachable() -> None:
    def stranger(_: httpx.Request) -> httpx.Response:
        return httpx.Response(502, text="<h1>Bad gateway</h1>")

    with pytest.raises(Unreachable, match="502"), Client("http://x", transport=httpx.MockTransport(stranger)) as client:
        client.servos()


def test_waiting_follows_the_motion_and_reports_progress() -> None:
    script = Script((202, motion("running")), motion("running"), {"angle_deg": 1}, motion("done"), {"angle_deg": 2})
    seen: list[Any] = []
    done = script.servo().move(to=2, progress=lambda one, snapshot: seen.append((one["state"], snapshot["angle_deg"])))
    assert done["state"] == "done"
    assert seen == [("running", 1), ("done", 2)]


@pytest.mark.parametrize(
    ("state", "error"), [("stopped", NotDone), ("replaced", NotDone), ("lost", NotDone), ("faulted", StoppedItself)]
)
def test_what_did_not_end_as_done_is_an_error(state: str, error: type[NotDone]) -> None:
    script = Script((202, motion(state, reason="the load was too high")))
    with pytest.raises(error, match=f"ended as {state}: the load was too high") as caught:
        script.servo().home()
    assert caught.value.report["state"] == state


def test_an_interrupt_stops_the_servo_first() -> None:
    script = Script((202, motion("running")), KeyboardInterrupt(), {})
    with pytest.raises(KeyboardInterrupt):
        script.servo().move(to=1)
    assert script.lines()[-1] == "POST /api/v1/servos/vent/stop"


def test_a_turn_without_an_end_is_not_waited_for() -> None:
    script = Script((202, motion("running")))
    assert script.servo().turn(5)["state"] == "running"


def test_the_ends_of_a_motion_are_the_servos() -> None:
    assert {state.value for state in SERVO_FINAL} == FINAL


def test_names_are_quoted_in_addresses() -> None:
    script = Script({})
    Client("http://x/", transport=httpx.MockTransport(script)).servo("a/b").status()
    assert script.requests[0].url.raw_path == b"/api/v1/servos/a%2Fb"
