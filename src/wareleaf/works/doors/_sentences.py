"""What a door says of a field that does not fit its schema: its name, its value, what would do."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

_LONGEST = 60
_BOUNDS = {
    "greater_than": ("gt", "above {}"),
    "greater_than_equal": ("ge", "at least {}"),
    "less_than": ("lt", "below {}"),
    "less_than_equal": ("le", "at most {}"),
}
_KINDS = {
    "finite_number": "a finite number",
    "float_type": "a number",
    "float_parsing": "a number",
    "int_type": "a whole number",
    "int_parsing": "a whole number",
    "int_from_float": "a whole number",
    "bool_type": "true or false",
    "bool_parsing": "true or false",
    "string_type": "a text",
    "list_type": "a list",
    "dict_type": "an object with named fields",
    "model_type": "an object with named fields",
    "model_attributes_type": "an object with named fields",
}


def field_of(item: Mapping[str, Any], given: Any) -> str:
    """The field of a schema error as it was typed, without the kinds that were tried for it."""
    place, parts = given, []
    for n, part in enumerate(item["loc"], start=1):
        last = n == len(item["loc"])
        if isinstance(place, Mapping) and (part in place or last):
            place = place.get(part)
        elif isinstance(place, list) and isinstance(part, int):
            place = place[part]
        else:
            continue
        parts.append(str(part))
    return ".".join(parts) or "input"


def sentence(item: Mapping[str, Any], field: str) -> str:
    """One sentence for a schema error."""
    kind, context = item["type"], item.get("ctx") or {}
    if kind == "missing":
        return f"{field} is missing; it is required."
    if kind == "extra_forbidden":
        return f"{field} is not a field of this door; see its schema for the accepted fields."
    if kind in _BOUNDS:
        name, words = _BOUNDS[kind]
        return f"{field} is {_shown(item)}; it must be {words.format(f'{context[name]:g}')}."
    if kind in _KINDS:
        return f"{field} is {_shown(item)}; it must be {_KINDS[kind]}."
    if kind == "literal_error":
        return f"{field} is {_shown(item)}; it must be {context['expected']}."
    if kind == "too_short":
        return f"{field} has {context['actual_length']} entries; it needs {context['min_length']}."
    if kind == "too_long":
        return f"{field} has too many entries; it takes {context['max_length']}."
    return f"{field}: {item['msg'].removeprefix('Value error, ')}."


def _shown(item: Mapping[str, Any]) -> str:
    text = repr(item.get("input"))
    return text if len(text) <= _LONGEST else text[:_LONGEST] + "..."
