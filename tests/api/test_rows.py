import pytest
from pydantic import BaseModel

from geartender.api.rows import csv_text, wants_csv


class Row(BaseModel):
    text: str
    number: float | None


def test_quotes_as_rfc_4180_section_2_says() -> None:
    rows = [Row(text='he said "open", twice', number=-0.5), Row(text="line\nbreak", number=None)]
    assert csv_text(Row, rows) == 'text,number\r\n"he said ""open"", twice",-0.5\r\n"line\nbreak",\r\n'


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
    assert wants_csv(accept) is wanted
