"""Reads the settings file and says of each mistake which file, line and field it is in."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

from pydantic import ValidationError

from wareleaf.measure.errors import BadInput, Problem
from wareleaf.works.settings.model import WorksSettings

MAX_BYTES = 5_000_000


def read_settings(path: Path) -> WorksSettings:
    """Read and check a settings file.

    Raises
    ------
    BadInput
        With one problem per mistake; each names the file, the line and the field.
    """
    try:
        if path.stat().st_size > MAX_BYTES:
            raise BadInput("settings", str(path), f"{path} is larger than 5 MB; is it settings?")
        text = path.read_text("utf-8")
    except UnicodeDecodeError as error:
        raise BadInput("settings", str(path), f"{path} is not UTF-8 text ({error}).") from error
    except OSError as error:
        raise BadInput(
            "settings", str(path), f"{path} cannot be read: {error.strerror}."
        ) from error
    return parse_settings(text, str(path))


def parse_settings(text: str, name: str = "settings.toml") -> WorksSettings:
    """Check settings given as text; ``name`` is how errors call the file."""
    if not text.strip():
        raise BadInput("settings", name, f"{name} is empty; it must hold the works' settings.")
    try:
        table = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise BadInput("settings", name, f"{name} is not TOML: {error}.") from error
    try:
        return WorksSettings.model_validate(table)
    except ValidationError as error:
        raise BadInput.of(_problems(error, text, name)) from error


def _problems(error: ValidationError, text: str, name: str) -> list[Problem]:
    found = []
    for item in error.errors(include_url=False):
        path = [str(p) for p in item["loc"]]
        message = item["msg"].removeprefix("Value error, ")
        if message.startswith("@"):  # a reference check names its own place
            _, place, message = message.split("@", 2)
            path = place.split(".")
        if item["type"] == "missing":
            message = "is missing; it is required"
        elif item["type"] == "extra_forbidden":
            message = "is not a known setting"
        line = line_of(text, path)
        field = ".".join(path) or "settings"
        value = None if item["type"] == "missing" else item.get("input")
        shown = "" if isinstance(value, dict | list) or value is None else f" ({value!r})"
        found.append(Problem(field, value, f"{name}, line {line}, {field}{shown}: {message}."))
    return found


def line_of(text: str, path: list[str]) -> int:
    """Line of a setting in the file, by its path such as ``['meter', '2', 'quantity']``.

    Follows table headers; when the key itself is absent, the line of its table is given.
    """
    lines = text.splitlines()
    if not path:
        return 1
    table, rest = path[0], path[1:]
    nth = int(rest.pop(0)) if rest and rest[0].isdigit() else 0
    header = re.compile(rf"^\s*\[\[?\s*{re.escape(table)}\s*\]\]?")
    starts = [i for i, line in enumerate(lines) if header.match(line)]
    if nth >= len(starts):
        return 1
    start = starts[nth]
    for key in [k for k in rest if not k.isdigit()]:
        sub = re.compile(rf"^\s*\[\[?\s*{re.escape(table)}\.{re.escape(key)}\s*\]\]?")
        own = re.compile(rf"^\s*{re.escape(key)}\s*=")
        for i in range(start + 1, len(lines)):
            if own.match(lines[i]) or sub.match(lines[i]):
                start = i
                break
            if header.match(lines[i]):
                break
    return start + 1
