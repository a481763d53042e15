"""What a client would rather have, by its Accept field (RFC 9110 section 12.5.1). Pure."""

from __future__ import annotations


def prefers(accept: str | None, kind: str) -> bool:
    """Whether an Accept field prefers the media type `kind` to JSON; JSON when both are equal."""
    weights = dict(_weighed(item) for item in (accept or "*/*").split(","))

    def weight(wanted: str) -> float:
        family = wanted.partition("/")[0] + "/*"
        return weights.get(wanted, weights.get(family, weights.get("*/*", 0.0)))

    return weight(kind) > weight("application/json")


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
