"""What tests cost and tell, and what the works' own leaf usually holds."""

from __future__ import annotations

from pydantic import Field, field_validator

from wareleaf.leaf import profile_ids
from wareleaf.works.settings.table import Table


class Laboratory(Table):
    """What a test costs and how far it can be trusted; what a wrong release would cost."""

    price_per_test: dict[str, float] = Field(default={}, description="By parameter.")
    price_other: float = Field(default=60.0, gt=0.0, description="Of a test that is not named.")
    sample_relative_sd: float | None = Field(
        default=None,
        ge=0.0,
        lt=1.0,
        description="How far a sample lies from its lot; else the usual.",
    )
    part_relative_sd: float | None = Field(
        default=None, ge=0.0, lt=1.0, description="How far bags of one lot differ; else the usual."
    )
    wrong_release_counts: float = Field(
        default=10.0, gt=0.0, description="A wrong release against the value of the lot."
    )

    @field_validator("price_per_test")
    @classmethod
    def _prices_above_0(cls, prices: dict[str, float]) -> dict[str, float]:
        for name, price in prices.items():
            if not price > 0.0:
                raise ValueError(f"the price of a test of {name} is {price:g}; it must be above 0")
        return prices


class UsualLeaf(Table):
    """What the works' own leaf usually holds of something, instead of the published figure."""

    leaf: str
    parameter: str
    mean: float = Field(gt=0.0, description="Per dry matter: mg/kg, for ash %.")
    works_relative_sd: float = Field(ge=0.0, description="How well the mean is known.")
    lot_relative_sd: float = Field(ge=0.0, description="How far loads differ.")

    @field_validator("leaf")
    @classmethod
    def _known_leaf(cls, leaf: str) -> str:
        if leaf not in profile_ids():
            raise ValueError(f"{leaf!r} is no leaf; there are: {', '.join(profile_ids())}")
        return leaf
