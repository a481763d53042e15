import pytest

from geartender.api.accepts import prefers


@pytest.mark.parametrize(
    ("accept", "wanted"),
    [
        (None, False),
        ("*/*", False),
        ("text/csv", True),
        ("text/*", True),
        ("text/csv, application/json", False),
        ("text/csv;q=0.9, application/json;q=0.1", True),
        ("application/json, */*;q=0.1", False),
        ("text/csv;q=x", False),
        ("text/html", False),
    ],
)
def test_csv_only_when_preferred(accept: str | None, wanted: bool) -> None:
    assert prefers(accept, "text/csv") is wanted
