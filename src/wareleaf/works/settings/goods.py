"""What is sold, in what, to whom, and the prices the plan and the accounts use."""

from __future__ import annotations

from pydantic import Field

from wareleaf.works.settings.machines import Stage
from wareleaf.works.settings.table import Table


class Film(Table):
    """A packing film; permeance is given as the test was run."""

    id: str
    name: str
    wvtr_g_m2_day: float = Field(gt=0.0)
    wvtr_temperature_c: float = 38.0
    wvtr_relative_humidity_difference: float = Field(0.9, gt=0.0, le=1.0)
    cost_per_m2: float = Field(0.0, ge=0.0)
    evidence: str = "practice"


class Product(Table):
    """What is sold: from which leaf, in which form and pack, with the buyer's own limits."""

    id: str
    site: str
    name: str
    leaf: str
    form: str
    route: list[Stage]
    tags: list[str] = Field([], description="What limits care for: ready_to_eat, supplement...")
    nominal_g: float = Field(gt=0.0)
    film: str
    pack_area_m2: float = Field(gt=0.0)
    price_per_kg: float = Field(ge=0.0)
    moisture_wb_max: float = Field(gt=0.0, lt=1.0)
    best_before_days: int = Field(365, gt=0)


class Customer(Table):
    """A buyer, the market whose limits apply, and whom to ring in a recall."""

    id: str
    name: str
    market: str
    contact: str = ""
    phone: str = ""
    mail: str = ""
    address: str = ""


class Costs(Table):
    """Prices the plan and the accounts use."""

    leaf_per_kg: dict[str, float]
    labour_per_h: float = Field(ge=0.0)
    electricity_per_kwh: float = Field(ge=0.0)
    fuel_per_kg: float = Field(ge=0.0)
    fuel: str = "lpg"
    divert_per_kg: float = Field(0.05, ge=0.0, description="Loss when leaf goes to a lesser use.")
    refuse_per_kg: float = Field(0.30, ge=0.0, description="Loss when leaf is turned away.")
