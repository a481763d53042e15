"""Rows as comma-separated values (RFC 4180: header line, CRLF, quotes doubled). Pure."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable

from pydantic import BaseModel

CSV_MEDIA_TYPE = "text/csv; charset=utf-8; header=present"


def csv_text(model: type[BaseModel], rows: Iterable[BaseModel]) -> str:
    """A header line of the model's field names and one line for each row; what is not known is left empty."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(model.model_fields)
    for row in rows:
        values = row.model_dump(mode="json")
        writer.writerow("" if values[name] is None else values[name] for name in model.model_fields)
    return out.getvalue()
