"""Machines, and the meters that say what they do."""

from __future__ import annotations

from typing import Any, Literal

from pydantic import Field

from wareleaf.works.settings.table import Table

Stage = Literal["wash", "blanch", "wither", "roll", "oxidise", "dry", "sift", "mill", "pack"]
EquipmentKind = Literal[
    "wash_tank",
    "blanch_bath",
    "wither_trough",
    "roller",
    "oxidation_floor",
    "belt_dryer",
    "fluid_bed",
    "sifter",
    "mill",
    "packing_bench",
]


class Equipment(Table):
    """One machine, with the numbers the stage models and the plan need.

    ``settings`` holds the fields of the stage's spec (see docs/look-up/equipment.md); ``defaults``
    the settings an operator starts from.
    """

    id: str = Field(pattern=r"^[a-z][a-z0-9_-]*$")
    site: str
    name: str
    stage: Stage
    kind: EquipmentKind
    capacity_kg: float | None = Field(None, gt=0.0, description="Batch capacity, kg of leaf.")
    rate_kg_h: float | None = Field(None, gt=0.0, description="Feed rate, kg of leaf an hour.")
    crew_needed: int = Field(1, ge=0)
    warm_up_h: float = Field(0.0, ge=0.0)
    clean_h: float = Field(0.0, ge=0.0, description="Cleaning between two kinds of leaf.")
    residence_spread: float = Field(
        0.02,
        ge=0.0,
        le=0.5,
        description="Spread of the time on it, over that time; default invented, measure yours.",
    )
    settings: dict[str, Any] = Field({})
    defaults: dict[str, float] = Field({})


PERCENT = ("moisture_wb", "relative_humidity", "theaflavin_fraction")
"""Quantities that are fractions inside and percent on screens."""

QUANTITY_WORDS = {
    "mass_kg": "weights in kg",
    "moisture_wb": "moisture",
    "temperature_c": "temperature",
    "relative_humidity": "humidity of air",
    "net_g": "packs in g",
    "theaflavin_fraction": "theaflavins",
    "colour_index": "colour",
}
"""What a meter measures, as people say it."""


class Meter(Table):
    """An instrument and how far it can be trusted (one standard deviation)."""

    id: str
    site: str
    name: str
    quantity: Literal[
        "mass_kg",
        "moisture_wb",
        "temperature_c",
        "relative_humidity",
        "net_g",
        "theaflavin_fraction",
        "colour_index",
    ]
    standard_uncertainty: float = Field(ge=0.0, description="In the unit of the quantity.")
    relative_uncertainty: float = Field(0.0, ge=0.0, lt=0.5, description="Added in quadrature.")
    method: str = ""

    @property
    def in_percent(self) -> bool:
        """Whether people read it in percent, and it is a fraction inside."""
        return self.quantity in PERCENT

    def sd(self, value: float) -> float:
        """Standard uncertainty of a reading, in the unit of the quantity."""
        return float(
            (self.standard_uncertainty**2 + (self.relative_uncertainty * value) ** 2) ** 0.5
        )
