import pytest

from geartender.api.prefer import WAIT_MAX_S, applied, wanted_wait_s


@pytest.mark.parametrize(
    ("field", "wait_s"),
    [
        (None, None),
        ("", None),
        ("wait=5", 5),
        ("Wait = 5", 5),
        ('wait="5"', 5),
        ("respond-async, wait=10; x=y", 10),
        ("wait=100000", WAIT_MAX_S),
        ("wait=0", 0),
        ("wait=-1", None),
        ("wait=1.5", None),
        ("wait", None),
        ("await=5", None),
        ("wait=99999999999999999999", None),
    ],
)
def test_what_is_asked_for(field: str | None, wait_s: float | None) -> None:
    assert wanted_wait_s(field) == wait_s


def test_what_was_applied_is_said() -> None:
    assert applied(None) == {}
    assert applied(5.0) == {"Preference-Applied": "wait=5"}
