"""The calculation doors: each calculation can be run alone, from the shell, over HTTP or here.

One module a door; the module name is the door's name with underscores. A door module has a
docstring whose first line says what it does, ``Input`` and ``Output`` models and
``run(data: Input) -> Output``. Heavy imports stay inside ``run`` so that listing is quick.
"""

from __future__ import annotations

import ast
import importlib
import json
import pkgutil
from contextvars import ContextVar
from functools import cache
from pathlib import Path
from types import ModuleType
from typing import Any

from pydantic import BaseModel, ConfigDict, ValidationError

from wareleaf.measure.errors import BadInput, Problem
from wareleaf.works.doors._sentences import field_of, sentence

_AFAR: ContextVar[bool] = ContextVar("_AFAR", default=False)


def called_from_afar() -> bool:
    """Whether the running door was called over HTTP; then it opens no file and no database."""
    return _AFAR.get()


class DoorInput(BaseModel):
    """Base of every door's input: unknown fields, NaN and infinity are refused."""

    model_config = ConfigDict(extra="forbid", allow_inf_nan=False)


class DoorOutput(BaseModel):
    """Base of every door's output."""

    sources: list[str] = []
    warnings: list[str] = []


@cache
def door_names() -> tuple[str, ...]:
    """Names of all doors, sorted."""
    here = str(Path(__file__).parent)
    return tuple(
        sorted(
            m.name.replace("_", "-")
            for m in pkgutil.iter_modules([here])
            if not m.name.startswith("_")
        )
    )


def summary(name: str) -> str:
    """First docstring line of a door, read without importing it."""
    path = Path(__file__).parent / f"{name.replace('-', '_')}.py"
    doc = ast.get_docstring(ast.parse(path.read_text("utf-8"))) or ""
    return doc.splitlines()[0] if doc else ""


def door(name: str) -> ModuleType:
    """Load the module of a door by its name."""
    if name not in door_names():
        raise BadInput(
            "name", name, f"There is no door {name!r}; there are: {', '.join(door_names())}."
        )
    return importlib.import_module(f"wareleaf.works.doors.{name.replace('-', '_')}")


def schema(name: str) -> dict[str, Any]:
    """JSON Schema of a door's input and output."""
    module = door(name)
    return {
        "input": module.Input.model_json_schema(),
        "output": module.Output.model_json_schema(),
    }


def problems_of(error: ValidationError, given: dict[str, Any]) -> list[Problem]:
    """Turn a validation error of what was given into problems that name field and value."""
    found = []
    for item in error.errors(include_url=False):
        field = field_of(item, given)
        value = None if item["type"] == "missing" else item.get("input")
        found.append(Problem(field, value, sentence(item, field)))
    return found


def parsed(name: str, data: dict[str, Any]) -> Any:
    """Plain data as the input of a door.

    Raises
    ------
    BadInput
        With every field that does not fit.
    """
    try:
        return door(name).Input.model_validate(data)
    except ValidationError as error:
        raise BadInput.of(problems_of(error, data)) from error


def call(name: str, data: dict[str, Any], *, from_afar: bool = False) -> dict[str, Any]:
    """Run a door on plain data and return plain data; ``from_afar`` says that HTTP asked.

    Raises
    ------
    BadInput
        With every problem of the input.
    """
    given = parsed(name, data)
    token = _AFAR.set(from_afar)
    try:
        result: dict[str, Any] = door(name).run(given).model_dump(mode="json")
    finally:
        _AFAR.reset(token)
    return result


def error_body(error: BadInput) -> dict[str, Any]:
    """The JSON that is shown for bad input."""
    return {
        "error": [
            {"field": p.field, "value": _plain(p.value), "message": p.message}
            for p in error.problems
        ]
    }


def _plain(value: Any) -> Any:
    try:
        json.dumps(value, allow_nan=False)
    except (TypeError, ValueError):
        return str(value)
    return value
