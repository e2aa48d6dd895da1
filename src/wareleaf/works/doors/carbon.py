"""Energy and greenhouse gas of a product between the gates of the works, gross and by stage."""

from __future__ import annotations

from typing import Literal, Self

from pydantic import Field, model_validator

from wareleaf.works.doors import DoorInput, DoorOutput


class StageIn(DoorInput):
    """Energy of one stage; fuel as kg fired, or as heat delivered at an efficiency."""

    stage: str = Field(min_length=1)
    electricity_kwh: float = Field(0.0, ge=0.0)
    fuel: str | None = Field(None, description="diesel, lpg, natural_gas, fuel_oil, coal or wood.")
    fuel_kg: float | None = Field(None, ge=0.0)
    heat_kwh: float | None = Field(None, ge=0.0)
    efficiency: float | None = Field(None, gt=0.0, le=1.1)

    @model_validator(mode="after")
    def _fuel_one_way(self) -> Self:
        if self.fuel is None:
            if any(x is not None for x in (self.fuel_kg, self.heat_kwh, self.efficiency)):
                raise ValueError("fuel_kg, heat_kwh and efficiency need a fuel")
        elif (self.fuel_kg is None) == (self.heat_kwh is None):
            raise ValueError("give exactly one of fuel_kg and heat_kwh with a fuel")
        if (self.heat_kwh is None) != (self.efficiency is None):
            raise ValueError("heat_kwh and efficiency go together")
        return self


class Input(DoorInput):
    """Energy by stage, the grid's factor with its source, and what was made."""

    stages: list[StageIn] = Field(min_length=1, max_length=1000)
    grid_kg_co2e_kwh: float = Field(ge=0.0)
    grid_source: str = Field("", description="Where the grid's factor stands, with its year.")
    product_kg: float = Field(gt=0.0)
    moisture_wb: float | None = Field(None, ge=0.0, lt=1.0)
    product: Literal["tea", "seaweed"] | None = None
    farm_gross_uptake_kg_co2: float | None = Field(None, ge=0.0)
    farm_net_uptake_kg_co2: float | None = None


class StageOut(DoorInput):
    """One stage of the result."""

    stage: str
    electricity_kwh: float
    fuel_kwh: float
    electricity_kg_co2e: float
    fuel_kg_co2e: float
    kg_co2e: float
    biogenic_kg_co2: float


class Output(DoorOutput):
    """Gross figures; ``net_kg_co2e`` only when a net uptake of the farm is given."""

    kg_co2e: float
    kg_co2e_per_kg: float
    kg_co2e_per_kg_dry: float | None
    biogenic_kg_co2: float
    electricity_kwh: float
    fuel_kwh: float
    kwh_per_kg: float
    net_kg_co2e: float | None = None
    net_kg_co2e_per_kg: float | None = None
    boundary: str
    stages: list[StageOut]


def _compared(per_kg: float) -> list[str]:
    """Where a tea factory stands against published ones."""
    from wareleaf.accounts import figures

    rows = figures("tea_factory", "ghg_kg_kg")
    low, high = min(f.value for f in rows), max(f.value for f in rows)
    if low <= per_kg <= high:
        return []
    side = "below" if per_kg < low else "above"
    return [
        f"{per_kg:.3g} kg CO2e/kg is {side} what tea factories report, {low:g} to {high:g} "
        "(secondary): check that every stage and fuel is in."
    ]


def run(data: Input) -> Output:
    """Compute the door."""
    from wareleaf.accounts import BOUNDARY, Use, carbon, footprint, fuel_for_heat_kg

    uses = []
    for s in data.stages:
        fired = s.fuel_kg or 0.0
        if s.heat_kwh is not None and s.fuel is not None and s.efficiency is not None:
            fired = fuel_for_heat_kg(s.heat_kwh, s.fuel, s.efficiency)
        uses.append(Use(s.stage, s.electricity_kwh, s.fuel or "", fired))
    found = footprint(
        uses,
        grid_kg_co2e_kwh=data.grid_kg_co2e_kwh,
        product_kg=data.product_kg,
        moisture_wb=data.moisture_wb,
    )
    warnings = [f"Boundary. {BOUNDARY}"]
    if found.evidence != "read":
        warnings.append(
            f"Fuel factors are from {found.evidence.value}: take your national inventory's."
        )
    if not data.grid_source:
        warnings.append("grid_source is empty: say where the grid's factor stands.")
    if found.biogenic_kg_co2:
        warnings.append(
            "Carbon dioxide from wood is shown apart and not added; that holds only for wood "
            "that grows again."
        )
    if data.farm_gross_uptake_kg_co2 is not None:
        share = carbon.net_share_of_farm_uptake()
        warnings.append(
            "The farm's gross uptake is not subtracted. In the one careful farm balance only "
            f"{share:.0%} of it was net (secondary); give farm_net_uptake_kg_co2."
        )
    if data.product == "tea":
        warnings += _compared(found.kg_co2e_per_kg)
    net = None
    if data.farm_net_uptake_kg_co2 is not None:
        net = found.kg_co2e - data.farm_net_uptake_kg_co2
        warnings.append("Net: carbon in leaf that is eaten returns to the air within the year.")
    return Output(
        kg_co2e=found.kg_co2e,
        kg_co2e_per_kg=found.kg_co2e_per_kg,
        kg_co2e_per_kg_dry=found.kg_co2e_per_kg_dry,
        biogenic_kg_co2=found.biogenic_kg_co2,
        electricity_kwh=found.electricity_kwh,
        fuel_kwh=found.fuel_kwh,
        kwh_per_kg=(found.electricity_kwh + found.fuel_kwh) / data.product_kg,
        net_kg_co2e=net,
        net_kg_co2e_per_kg=None if net is None else net / data.product_kg,
        boundary=BOUNDARY,
        stages=[
            StageOut(
                stage=s.stage,
                electricity_kwh=s.electricity_kwh,
                fuel_kwh=s.fuel_kwh,
                electricity_kg_co2e=s.electricity_kg_co2e,
                fuel_kg_co2e=s.fuel_kg_co2e,
                kg_co2e=s.kg_co2e,
                biogenic_kg_co2=s.biogenic_kg_co2,
            )
            for s in found.stages
        ],
        sources=[*([data.grid_source] if data.grid_source else []), *found.sources],
        warnings=warnings,
    )
