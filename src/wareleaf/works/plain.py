"""Answers as plain data that JSON can carry: times with their offset, no NaN, no infinity."""

from __future__ import annotations

import math
from collections.abc import Mapping, Set
from dataclasses import fields, is_dataclass
from datetime import date, datetime, timedelta
from enum import Enum
from pathlib import Path
from typing import Any

from wareleaf.book import LotState, Trace

# What a lot says beyond its own fields.
_DERIVED = ("remaining_mass_g", "remaining_dry_g", "moisture_wb", "status")
# What a trace says; it works its rows out when they are asked for.
_TRACED = ("lot_id", "direction", "nodes", "edges", "levels")


def plain(value: Any) -> Any:
    """Turn dataclasses, times, enums and arrays into what JSON can carry.

    A number that is not finite becomes null: JSON has no word for it. A duration is in seconds.
    """
    if isinstance(value, Enum):
        return plain(value.value)
    if value is None or isinstance(value, bool | str | int):
        return value
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, datetime | date):
        return value.isoformat()
    if isinstance(value, timedelta):
        return value.total_seconds()
    if isinstance(value, Path):
        return str(value)
    return _gathered(value)


def _gathered(value: Any) -> Any:
    """What holds other values: a dataclass, a table of settings, a mapping, a list, an array."""
    if is_dataclass(value) and not isinstance(value, type):
        found = {f.name: plain(getattr(value, f.name)) for f in fields(value)}
        if isinstance(value, LotState):
            found |= {name: plain(getattr(value, name)) for name in _DERIVED}
        return found
    if isinstance(value, Trace):
        return {name: plain(getattr(value, name)) for name in _TRACED}
    if isinstance(value, tuple) and hasattr(value, "_asdict"):  # a row with names
        return plain(value._asdict())
    if isinstance(value, Mapping):
        return {str(k): plain(v) for k, v in value.items()}
    if isinstance(value, Set):
        return sorted(plain(v) for v in value)
    if isinstance(value, list | tuple):
        return [plain(v) for v in value]
    if hasattr(value, "model_dump"):
        return plain(value.model_dump())
    if hasattr(value, "tolist"):
        return plain(value.tolist())
    raise TypeError(f"{type(value).__name__} has no plain form.")
