"""What a leaf loses to heat, by the works' own trials."""

from __future__ import annotations

from typing import Self

from pydantic import Field, field_validator, model_validator

from wareleaf import leaf as leaves
from wareleaf.works.settings.table import Table


class LossConstants(Table):
    """First-order constants of what a leaf loses to heat, from the works' own trial."""

    leaf: str
    what: str = Field(pattern=r"^[a-z][a-z0-9_]*$", description="For example vitamin_c.")
    rate_per_h: float = Field(ge=0.0)
    reference_c: float = Field(ge=-20.0, le=200.0)
    activation_j_mol: float = Field(ge=0.0, le=500e3)
    rate_relative_sd: float = Field(0.0, ge=0.0, le=5.0)
    activation_sd_j_mol: float = Field(0.0, ge=0.0, le=500e3)
    low_c: float = Field(-20.0, ge=-20.0, le=200.0)
    high_c: float = Field(200.0, ge=-20.0, le=200.0)
    moisture_wb_low: float = Field(0.0, ge=0.0, le=1.0)
    moisture_wb_high: float = Field(1.0, ge=0.0, le=1.0)
    source: str = "the works' own constants"

    @field_validator("leaf")
    @classmethod
    def _known_leaf(cls, leaf_id: str) -> str:
        if leaf_id not in leaves.profile_ids():
            known = ", ".join(leaves.profile_ids())
            raise ValueError(f"{leaf_id!r} is not a leaf profile; there are: {known}")
        return leaf_id

    @model_validator(mode="after")
    def _ranges_rise(self) -> Self:
        if self.low_c > self.high_c or self.moisture_wb_low > self.moisture_wb_high:
            raise ValueError("a low end of its range is above the high end")
        return self
