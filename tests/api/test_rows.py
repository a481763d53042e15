from pydantic import BaseModel

from geartender.api.rows import csv_text


class Row(BaseModel):
    text: str
    number: float | None


def test_quotes_as_rfc_4180_section_2_says() -> None:
    rows = [Row(text='he said "open", twice', number=-0.5), Row(text="line\nbreak", number=None)]
    assert csv_text(Row, rows) == 'text,number\r\n"he said ""open"", twice",-0.5\r\n"line\nbreak",\r\n'
