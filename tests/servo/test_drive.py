"""The firmware's refusals in the service's words."""

import pytest

from geartender.errors import Busy, GaveUp, LineTooSlow, Offline, Refused
from geartender.link.events import Outcome
from geartender.link.lines import REASONS, Reply
from geartender.servo.drive import given_up, refusal

SLUGS = {
    *("offline", "disarmed", "not-homed", "faulted", "helm-held", "busy", "outside-travel", "over-limit"),
    *("invalid", "unknown"),
}


@pytest.mark.parametrize("reason", REASONS)
def test_every_reason_has_its_words_and_a_slug_that_people_know(reason: str) -> None:
    refused = refusal(Reply(1, ok=False, reason=reason, detail="kp_num"))
    assert refused.slug in SLUGS
    assert refused.detail[0].isupper()
    assert len(refused.detail) > 20


def test_what_may_be_tried_again_is_told_apart() -> None:
    assert isinstance(refusal(Reply(1, ok=False, reason="late")), LineTooSlow)
    assert isinstance(refusal(Reply(1, ok=False, reason="join")), LineTooSlow)
    assert not isinstance(refusal(Reply(1, ok=False, reason="busy")), LineTooSlow)


@pytest.mark.parametrize(
    ("outcome", "kind"), [(Outcome.DROPPED, Busy), (Outcome.CLOSED, Offline), (Outcome.GIVEN_UP, Offline)]
)
def test_no_answer_is_told_by_what_came_first(outcome: Outcome, kind: type[Refused]) -> None:
    assert isinstance(given_up(GaveUp("go", outcome)), kind)
