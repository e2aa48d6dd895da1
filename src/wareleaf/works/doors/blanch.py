"""A load through a blanching bath: leaching, kill, water, heat; or the seconds for a target."""

from __future__ import annotations

from typing import Any, Literal

from pydantic import Field

from wareleaf.works.doors import DoorInput, DoorOutput


class BathIn(DoorInput):
    """The bath; give dip_kg (baskets) or feed_kg_h (steady feed)."""

    water_kg: float = Field(gt=0.0, description="Water it holds when full, kg.")
    temperature_c: float = Field(80.0, ge=20.0, le=100.0, description="Set point, degC.")
    medium: Literal["water", "seawater"] = "water"
    dip_kg: float = Field(0.0, ge=0.0, description="Leaf in one basket, kg.")
    feed_kg_h: float = Field(0.0, ge=0.0, description="Feed of a continuous bath, kg/h.")
    turn_s: float = Field(30.0, ge=0.0, description="Seconds between two baskets.")
    make_up_c: float = Field(10.0, ge=0.0, le=100.0, description="Temperature of fresh water.")
    refresh_kg_per_kg: float = Field(0.0, ge=0.0, description="Fresh water run through per kg.")
    dump_solids_fraction: float | None = Field(
        None, gt=0.0, description="Dump the bath above this dissolved matter, kg per kg liquor."
    )
    refill_h: float = Field(0.5, ge=0.0)
    heater_kw: float = Field(150.0, gt=0.0)
    loss_w_k: float = Field(60.0, ge=0.0)
    evaporation_kg_h: float = Field(10.0, ge=0.0)
    drag_out_kg_per_kg: float = Field(0.08, ge=0.0, description="Liquor on drained leaf per kg.")
    heat_transfer_w_m2_k: float = Field(500.0, gt=0.0)
    electric_heat: bool = False
    fuel_kwh_kg: float = Field(0.0, ge=0.0, description="Net heating value; 0 burns nothing here.")
    heater_efficiency: float = Field(0.85, gt=0.0)
    pump_kw: float = Field(2.0, ge=0.0)


class Input(DoorInput):
    """The leaf and its bath; with a target the immersion is found instead."""

    leaf: str = Field(description="Leaf profile id.")
    mass_kg: float = Field(gt=0.0)
    moisture_wb: float = Field(ge=0.0, lt=1.0)
    iodine_mg_kg_dw: float = Field(ge=0.0, description="Iodine in, mg per kg dry matter.")
    moisture_wb_sd: float = Field(0.01, ge=0.0)
    immersion_s: float = Field(120.0, gt=0.0, description="Seconds in the water.")
    leaf_temperature_c: float = 8.0
    room_c: float = 15.0
    arsenic_mg_kg_dw: float = Field(0.0, ge=0.0)
    cadmium_mg_kg_dw: float = Field(0.0, ge=0.0)
    water_change_fraction: float = 0.0
    half_thickness_m: float | None = Field(None, gt=0.0)
    leach_factor: float = Field(1.0, gt=0.0, description="From your own trial (fit-trial).")
    residual_factor: float = Field(1.0, gt=0.0, description="From your own trial (fit-trial).")
    leach_activation_j_mol: float | None = Field(
        None, ge=0.0, description="From your own trial (fit-trial), J/mol."
    )
    bath: BathIn
    iodine_max_mg_kg_dw: float | None = Field(None, gt=0.0, description="Target: finds seconds.")
    log_reduction_min: float | None = Field(None, ge=0.0, description="Target: finds seconds.")
    confidence: float = Field(0.5, ge=0.5, lt=1.0)
    immersion_max_s: float = Field(600.0, gt=10.0, le=7200.0)
    temperature_max_c: float = Field(95.0, le=100.0)


class Output(DoorOutput):
    """What comes out of the bath, and what became of the bath."""

    immersion_s: float
    temperature_c: float
    reachable: bool | None = None
    reason: str | None = None
    duration_h: float
    mass_out_kg: float
    dry_matter_kg: float
    dry_matter_leached_kg: float
    minerals_leached_kg: float = Field(description="Part of the dry matter leached.")
    minerals_fraction_dw: float = Field(description="Of the leaf that leaves.")
    moisture_wb_out: float
    moisture_wb_out_sd: float
    water_removed_kg: float
    iodine_mg_kg_dw: float
    iodine_mg_kg_dw_sd: float
    iodine_worst_mg_kg_dw: float
    arsenic_mg_kg_dw: float
    cadmium_mg_kg_dw: float
    equivalent_time_70c_s: float
    log_reduction_worst: float
    peroxidase_survival: float
    leaf_temperature_max_c: float
    heat_kwh: float
    electricity_kwh: float
    fuel_kg: float
    warm_up_h: float
    make_up_kg: float
    waste_liquor_kg: float
    dumps: int
    water_residual: float
    energy_residual: float
    course_time_h: list[float]
    course_bath_c: list[float]
    course_bath_solids_fraction: list[float]
    course_leaf_iodine_mg_kg_dw: list[float]


_TARGETS = {
    "leaf",
    "bath",
    "iodine_max_mg_kg_dw",
    "log_reduction_min",
    "confidence",
    "immersion_max_s",
    "temperature_max_c",
}


def run(data: Input) -> Output:
    """Compute the door."""
    from wareleaf.stages import blanch

    bath = blanch.Bath(**data.bath.model_dump())
    load = blanch.BlanchRun(
        leaf_id=data.leaf, **data.model_dump(exclude=_TARGETS, exclude_none=True)
    )
    settings = {"immersion_s": data.immersion_s, "temperature_c": bath.temperature_c}
    reachable = reason = None
    if data.iodine_max_mg_kg_dw is None and data.log_reduction_min is None:
        result = blanch.simulate(bath, load)
    else:
        found = blanch.aim(
            bath,
            load,
            iodine_max_mg_kg_dw=data.iodine_max_mg_kg_dw,
            log_reduction_min=data.log_reduction_min,
            confidence=data.confidence,
            limits=blanch.Limits(
                immersion_max_s=data.immersion_max_s, temperature_max_c=data.temperature_max_c
            ),
        )
        result, settings = found.result, found.settings
        reachable, reason = found.reachable, found.reason
    wanted = set(Output.model_fields) - {"reachable", "reason", "immersion_s", "temperature_c"}
    fields: dict[str, Any] = {name: getattr(result, name) for name in wanted}
    return Output(reachable=reachable, reason=reason, **(fields | settings))
