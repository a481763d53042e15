"""Turns what validation finds into one plain line for each mistake: where, what, and what to do."""

import json
from collections.abc import Mapping
from difflib import get_close_matches
from typing import Any, get_args

from pydantic import BaseModel, ValidationError
from pydantic.fields import FieldInfo
from pydantic_core import ErrorDetails

from geartender.build.checks import Conflict, conflicts
from geartender.build.sheet import CONTRADICTION, BuildSheet
from geartender.build.tables import SpurMesh, WormMesh
from geartender.errors import Mistake
from geartender.mistakes import path_of, pointer_of

Steps = tuple[str | int, ...]

MESHES: dict[str, type[BaseModel]] = {"spur": SpurMesh, "worm": WormMesh}
# A value is repeated up to this many characters: enough to recognise it, too few to flood a phone.
SHOWN = 40
# What is wrong, by the validation library's type of error; {…} are the bounds it reports.
WORDS = {
    "missing": "is missing",
    "union_tag_not_found": "is missing",
    "greater_than": "must be above {gt}, got {got}",
    "greater_than_equal": "must be at least {ge}, got {got}",
    "less_than": "must be below {lt}, got {got}",
    "less_than_equal": "must be at most {le}, got {got}",
    "finite_number": "must be a finite number, got {got}",
    "float_type": "must be a number, got {got}",
    "int_type": "must be a whole number, got {got}",
    "bool_type": "must be true or false, got {got}",
    "string_type": "must be text in quotes, got {got}",
    "string_too_short": "must not be empty",
    "string_too_long": "must have at most {max_length} characters",
    "model_type": "must be a table, got {got}",
    "model_attributes_type": "must be a table, got {got}",
    "list_type": "must be a list of tables, got {got}",
    "too_short": "must have at least {min_length}",
    "too_long": "must have at most {max_length}, got {actual_length}",
    "literal_error": "must be {expected}, got {got}",
    "union_tag_invalid": 'must be "spur" or "worm", got {got}',
}


def mistakes(error: ValidationError, raw: Mapping[str, Any]) -> list[Mistake]:
    """All mistakes of a sheet that failed to validate, those across its fields and tables included."""
    found: list[Mistake] = []
    for detail in error.errors(include_url=False):
        if detail["type"] == CONTRADICTION:
            return [_from_conflict(conflict) for conflict in detail["ctx"]["conflicts"]]
        steps = _steps(detail)
        found.append(Mistake(path_of(steps), pointer_of(steps), _text(steps, detail)))
    places = {mistake.path for mistake in found}
    usable = _usable(BuildSheet, raw, places, "")
    found += [_from_conflict(each) for each in conflicts(usable) if places.isdisjoint(each.fields)]
    return found


def _from_conflict(conflict: Conflict) -> Mistake:
    return Mistake(path_of(conflict.place), pointer_of(conflict.place), conflict.text)


def _steps(detail: ErrorDetails) -> Steps:
    """The place as a person sees it: without the kind by which the right sort of mesh was chosen, and with the missing kind."""
    steps = detail["loc"]
    if len(steps) > 2 and steps[0] == "mesh" and steps[2] in MESHES:
        steps = (*steps[:2], *steps[3:])
    return (*steps, "kind") if detail["type"].startswith("union_tag") else steps


def _text(steps: Steps, detail: ErrorDetails) -> str:
    owner = _owner(detail["loc"])
    if detail["type"] == "extra_forbidden":
        return _unknown_key(str(steps[-1]), list(owner.model_fields))
    field = owner.model_fields.get(str(steps[-1]))
    words = WORDS.get(detail["type"], "is not usable ({msg}), got {got}")
    bounds = {name: _plain(value) for name, value in detail.get("ctx", {}).items()}
    got = detail["input"].get("kind") if detail["type"] == "union_tag_invalid" else detail["input"]
    text = words.format(**bounds, msg=detail["msg"], got=_shown(got))
    return f"{text}. {field.description}" if field and field.description else f"{text}."


def _owner(loc: Steps) -> type[BaseModel]:
    """The model of the table that the last step of a place belongs to."""
    if len(loc) == 1:
        return BuildSheet
    if loc[0] == "mesh":
        return MESHES[str(loc[2])] if len(loc) > 2 else SpurMesh
    return _table(BuildSheet.model_fields[str(loc[0])]) or BuildSheet


def _table(field: FieldInfo) -> type[BaseModel] | None:
    """The table that a field of the sheet holds, if it holds one."""
    for kind in (field.annotation, *get_args(field.annotation)):
        if isinstance(kind, type) and issubclass(kind, BaseModel):
            return kind
    return None


def _unknown_key(key: str, known: list[str]) -> str:
    near = get_close_matches(key, known, n=1)
    hint = f"Did you mean {near[0]}?" if near else f"Known here: {', '.join(known)}."
    return f"is not a known key. {hint}"


def _plain(value: Any) -> Any:
    """A bound as a person writes it: 60, not 60.0; quotes as in TOML."""
    return f"{value:g}" if isinstance(value, float) else str(value).replace("'", '"')


def _shown(value: object) -> str:
    if isinstance(value, float):
        return f"{value:g}"
    try:
        text = json.dumps(value, default=str)
    except (TypeError, ValueError):
        text = str(value)
    return text if len(text) <= SHOWN else f"{text[: SHOWN - 1]}…"


def _usable(model: type[BaseModel], raw: Mapping[str, Any], bad: set[str], prefix: str) -> Any:
    """The model with every value that can be used and None for the others, not validated."""
    values: dict[str, Any] = {}
    for name, field in model.model_fields.items():
        table = _table(field)
        if prefix + name in bad:
            values[name] = None
        elif name not in raw:
            values[name] = field.get_default(call_default_factory=True)
        elif table is not None and isinstance(raw[name], Mapping):
            values[name] = _usable(table, raw[name], bad, f"{name}.")
        else:
            values[name] = raw[name]
    return model.model_construct(None, **values)
