"""Why a figure is what it is: its formula, what goes into it, where the formula comes from. Written beside each figure."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, get_args

from pydantic import BaseModel
from pydantic.fields import FieldInfo


@dataclass(frozen=True, slots=True)
class Why:
    """The metadata of a figure. `inputs` are paths in the sheet, or names of other figures."""

    formula: str
    inputs: tuple[str, ...]
    source: str


class Reason(BaseModel):
    """Why one figure is what it is."""

    figure: str
    """Its place among the figures, as in `meshes[].root_stress_mpa`."""
    says: str
    """What it is."""
    formula: str
    inputs: list[str]
    """Paths in the build sheet, or other figures, that go into it."""
    source: str


def reasons(model: type[BaseModel], prefix: str = "") -> Iterator[Reason]:
    """Every figure of a model that has a formula, those of its tables and lists included."""
    for name, field in model.model_fields.items():
        for why in field.metadata:
            if isinstance(why, Why):
                says = field.description or ""
                yield Reason(
                    figure=prefix + name, says=says, formula=why.formula, inputs=list(why.inputs), source=why.source
                )
        inner, many = _inner(field)
        if inner is not None:
            yield from reasons(inner, f"{prefix}{name}{'[]' if many else ''}.")


def _inner(field: FieldInfo) -> tuple[type[BaseModel] | None, bool]:
    """The model inside a field, and whether there are many of them."""
    stack: list[tuple[Any, bool]] = [(field.annotation, False)]
    while stack:
        kind, many = stack.pop()
        if isinstance(kind, type) and issubclass(kind, BaseModel):
            return kind, many
        origin_is_list = getattr(kind, "__origin__", None) is list
        stack += [(inner, many or origin_is_list) for inner in get_args(kind)]
    return None, False
