"""Any page as plain JSON: what the page shows, without the words around it."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import fields, is_dataclass
from datetime import date, datetime, timedelta
from typing import Any

from fastapi import Request
from pydantic import BaseModel

from wareleaf.book import Event, LotState, event_to_json


def wants_json(request: Request) -> bool:
    """Whether the caller asked for JSON, by ``?format=json`` or by its Accept header."""
    if request.query_params.get("format") == "json":
        return True
    accepts = request.headers.get("accept", "")
    return "application/json" in accepts and "text/html" not in accepts


def plain(value: Any) -> Any:
    """Any value of the works as plain JSON data; a number that is not finite becomes null."""
    if value is None or isinstance(value, str | bool | int):
        return value
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    return _plain_object(value)


def _plain_object(value: Any) -> Any:
    found: Any
    if isinstance(value, datetime | date):
        found = value.isoformat()
    elif isinstance(value, timedelta):
        found = {"hours": value.total_seconds() / 3600.0}
    elif isinstance(value, Event):
        found = event_to_json(value)
    elif isinstance(value, BaseModel):
        found = plain(value.model_dump(mode="json"))
    elif is_dataclass(value) and not isinstance(value, type):
        found = {f.name: plain(getattr(value, f.name)) for f in fields(value) if f.repr}
        if isinstance(value, LotState):
            found |= {
                "remaining_mass_g": value.remaining_mass_g,
                "remaining_dry_g": value.remaining_dry_g,
                "moisture_wb": value.moisture_wb,
                "status": value.status,
            }
    elif isinstance(value, Mapping):
        found = {str(k): plain(v) for k, v in value.items()}
    elif hasattr(value, "tolist"):
        found = plain(value.tolist())
    elif isinstance(value, Iterable):
        found = [plain(v) for v in value]
    else:
        found = str(value)
    return found
