"""Where to aim outlet moisture, what over-drying costs in a year, what less spread would save."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

from pydantic import Field

from wareleaf.works.doors import DoorInput, DoorOutput

if TYPE_CHECKING:
    from wareleaf.stages import adviser


class Input(DoorInput):
    """Limit, risk, prices, and the spread: by parts, or as measured lots."""

    limit_wb: float = Field(description="Moisture that no more than the risk may pass.")
    limit_kind: Literal["contract", "law", "store"] = "contract"
    limit_confirmed: bool = Field(
        False, description="A limit of law: the quality manager has confirmed its text."
    )
    risk: float = Field(0.05, description="Largest share of lots over the limit.")
    parts_sd_wb: dict[str, float] = Field(
        default_factory=dict, description="Standard deviations by cause, in place of outlet_wb."
    )
    outlet_wb: list[float] = Field(default_factory=list, description="Measured lots.")
    confidence: float = Field(0.95, description="Of the risk, when the spread is from lots.")
    aim_in_use_wb: float | None = Field(None, description="The lots' mean when left out.")
    price_per_kg: float
    dry_matter_kg_year: float
    heat_kwh_per_kg_water: float = 1.2
    heat_price_per_kwh: float | None = Field(None, description="Or fuel_price_per_kg.")
    fuel_price_per_kg: float | None = None
    net_heating_value_mj_kg: float | None = None
    heater_efficiency: float | None = None
    rework_cost_per_kg: float = 0.0


class CostOut(DoorOutput):
    """A year's cost of the cheapest aim against all leaf exactly at the limit."""

    weight_given_kg: float
    weight: float
    heat: float
    rework: float
    total: float
    share_over: float


class Output(DoorOutput):
    """Where to aim and what it is worth."""

    aim_wb: float = Field(description="Wettest aim that keeps the risk.")
    spread_sd_wb: float
    factor: float
    cheapest_aim_wb: float = Field(description="Drier than aim_wb where wet lots cost more.")
    halved_aim_wb: float
    cost: CostOut
    halved_cost: CostOut
    halved_saving: float
    part_savings: dict[str, float]
    now_cost: CostOut | None
    reason: str


def run(data: Input) -> Output:
    """Compute the door."""
    from wareleaf.measure import BadInput
    from wareleaf.stages import adviser, adviser_outlet

    trade = adviser.Trade(
        limit_wb=data.limit_wb,
        price_per_kg=data.price_per_kg,
        dry_matter_kg_year=data.dry_matter_kg_year,
        heat_kwh_per_kg_water=data.heat_kwh_per_kg_water,
        heat_price_per_kwh=_heat_price(data),
        rework_cost_per_kg=data.rework_cost_per_kg,
    )
    if bool(data.parts_sd_wb) == bool(data.outlet_wb):
        raise BadInput(
            "parts_sd_wb", None, "Give exactly one of parts_sd_wb and outlet_wb: the spread."
        )
    parts, lots, in_use = dict(data.parts_sd_wb), None, data.aim_in_use_wb
    if data.outlet_wb:
        lots = adviser_outlet.seen(data.outlet_wb)
        parts = {"outlet": lots.sd_wb}
        in_use = lots.mean_wb if in_use is None else in_use
    found = adviser.advise(
        trade,
        parts,
        data.risk,
        lots_seen=None if lots is None else lots.lots,
        confidence=data.confidence,
        aim_in_use_wb=in_use,
    )
    warnings = list(found.warnings)
    if data.limit_kind == "law" and not data.limit_confirmed:
        warnings.insert(0, adviser.UNCONFIRMED)
    return Output(
        aim_wb=found.aim_wb,
        spread_sd_wb=found.spread_sd_wb,
        factor=found.factor,
        cheapest_aim_wb=found.cheapest_aim_wb,
        halved_aim_wb=found.halved_aim_wb,
        cost=_cost(found.cost),
        halved_cost=_cost(found.halved_cost),
        halved_saving=found.halved_saving,
        part_savings=dict(found.part_savings),
        now_cost=None if found.now_cost is None else _cost(found.now_cost),
        reason=found.reason,
        sources=list(found.sources),
        warnings=warnings,
    )


def _cost(cost: adviser.Cost) -> CostOut:
    names = set(CostOut.model_fields) - {"sources", "warnings"}
    return CostOut(**{name: getattr(cost, name) for name in names})


def _heat_price(data: Input) -> float:
    from wareleaf.measure import BadInput
    from wareleaf.stages.adviser import heat_price_per_kwh

    fuel = (data.fuel_price_per_kg, data.net_heating_value_mj_kg, data.heater_efficiency)
    if data.heat_price_per_kwh is not None:
        if any(each is not None for each in fuel):
            raise BadInput(
                "heat_price_per_kwh",
                data.heat_price_per_kwh,
                "heat_price_per_kwh and a fuel are both given; give one of them.",
            )
        return data.heat_price_per_kwh
    price, value, efficiency = fuel
    if price is None or value is None or efficiency is None:
        raise BadInput(
            "heat_price_per_kwh",
            None,
            "heat_price_per_kwh is missing; give it, or fuel_price_per_kg with "
            "net_heating_value_mj_kg and heater_efficiency.",
        )
    return heat_price_per_kwh(price, value, efficiency)
