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


def wants_csv(accept: str | None) -> bool:
    """Whether an Accept field prefers CSV to JSON (RFC 9110 section 12.5.1); JSON when both are equal."""
    weights = dict(_weighed(item) for item in (accept or "*/*").split(","))

    def weight(kind: str, family: str) -> float:
        return weights.get(kind, weights.get(family, weights.get("*/*", 0.0)))

    return weight("text/csv", "text/*") > weight("application/json", "application/*")


def _weighed(item: str) -> tuple[str, float]:
    kind, *parameters = (part.strip().lower() for part in item.split(";"))
    for parameter in parameters:
        name, _, value = parameter.partition("=")
        if name.strip() == "q":
            try:
                return kind, float(value)
            except ValueError:
                return kind, 0.0
    return kind, 1.0
