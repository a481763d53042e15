"""Rows as comma-separated values (RFC 4180: header line, CRLF, quotes doubled). Pure."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterable
from typing import Any

from pydantic import BaseModel

CSV_MEDIA_TYPE = "text/csv; charset=utf-8; header=present"


def csv_text(model: type[BaseModel], rows: Iterable[BaseModel], *, header: bool = True) -> str:
    """A header line of the model's field names and one line for each row; what is not known is left empty.

    What is itself a table stands as JSON. Without `header` it is a further part of the same text.
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    if header:
        writer.writerow(model.model_fields)
    for row in rows:
        values = row.model_dump(mode="json")
        writer.writerow(_cell(values[name]) for name in model.model_fields)
    return out.getvalue()


def _cell(value: Any) -> Any:
    if value is None:
        return ""
    return json.dumps(value, ensure_ascii=False) if isinstance(value, dict | list) else value
