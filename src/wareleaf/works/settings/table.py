"""What every table of the settings file has in common."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict


class Table(BaseModel):
    """One table: frozen, and a key that it does not know is an error and not a silent default."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)
