"""A dryer run on a belt, trays or a fluid bed: what comes out, what to set, what readings say."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pydantic import Field

from wareleaf.works.doors import DoorInput, DoorOutput
from wareleaf.works.doors._dryers import DryerIn, RunIn, SupplyOut, machine, run_of

if TYPE_CHECKING:
    from wareleaf.stages import dry


class ReadingIn(DoorInput):
    """A reading on the running dryer."""

    time_h: float = Field(0.0, ge=0.0)
    quantity: str = Field(
        description="moisture_wb_in, moisture_wb_out, exhaust_c, exhaust_c_N; trays: moisture_wb."
    )
    value: float
    standard_uncertainty: float = Field(gt=0.0)


class Input(RunIn):
    """The dryer, the leaf and the air; a target asks what to set, readings ask for a projection."""

    dryer: DryerIn
    target_moisture_wb: float | None = Field(None, gt=0.0, lt=0.98)
    leaf_temperature_max_c: float | None = None
    readings: list[ReadingIn] = Field(default_factory=list)


class ZoneOut(DoorOutput):
    """One zone's air and leaf; the exhaust is its mean."""

    inlet_c: float
    inlet_humidity_ratio: float
    exhaust_c: float
    exhaust_humidity_ratio: float
    exhaust_relative_humidity: float
    dry_air_kg: float
    pressure_drop_pa: float
    leaf_c_out: float
    leaf_c_max: float
    moisture_wb_out: float
    water_removed_kg: float
    heat_kwh: float
    electricity_kwh: float
    drained_kg: float
    cooling_kwh: float
    condensed_kg: float
    combustion_water_kg: float


class ProjectionOut(DoorOutput):
    """What the readings say."""

    residence_h: float | None = Field(description="To set for the target; null: out of reach.")
    residence_sd_h: float | None
    moisture_wb_out: float
    moisture_wb_out_sd: float
    rate_multiplier: float
    rate_multiplier_sd: float
    moisture_wb_in: float
    moisture_wb_in_sd: float
    note: str


class Output(DoorOutput):
    """What comes out, at the given settings or at those that reach the target."""

    reachable: bool | None = None
    reason: str | None = None
    settings: dict[str, float]
    duration_h: float
    mass_in_kg: float
    mass_out_kg: float
    dry_matter_kg: float
    moisture_wb_out: float
    moisture_wb_out_sd: float
    moisture_wb_layers: list[float]
    water_removed_kg: float
    heat_kwh: float
    electricity_kwh: float
    fuel_kg: float
    heat_mj_per_kg_water: float
    water_kg_per_kwh: float
    leaf_temperature_max_c: float
    leaf_temperature_out_c: float
    air_temperature_max_c: float
    exhaust_c: float
    loading_kg_m2: float
    depth_m: float
    minimum_fluidisation_m_s: float | None
    zones: list[ZoneOut]
    supply: SupplyOut
    water_residual: float
    energy_residual: float
    curve_time_h: list[float]
    curve_moisture_wb: list[float]
    curve_leaf_c: list[float]
    projection: ProjectionOut | None = None


def run(data: Input) -> Output:
    """Compute the door."""
    from wareleaf.measure import require
    from wareleaf.stages import dry

    dryer, charge = machine(data.dryer), run_of(data)
    reachable = reason = None
    settings = {"residence_h": charge.residence_h}
    if data.target_moisture_wb is None:
        require(
            not data.readings,
            "target_moisture_wb",
            None,
            "target_moisture_wb is missing; readings are projected to a target moisture.",
        )
        result = dry.simulate(dryer, charge)
    else:
        found = dry.aim(dryer, charge, data.target_moisture_wb, data.leaf_temperature_max_c)
        result, settings = found.result, found.settings
        reachable, reason = found.reachable, found.reason
    names = set(Output.model_fields) - {
        "reachable",
        "reason",
        "settings",
        "zones",
        "projection",
        "supply",
    }
    return Output(
        reachable=reachable,
        reason=reason,
        settings=settings,
        zones=[ZoneOut(**vars(z)) for z in result.zones],
        supply=SupplyOut(**vars(result.supply)),
        projection=_projection(data, dryer, charge),
        **{n: getattr(result, n) for n in names},
    )


def _projection(data: Input, dryer: dry.Dryer, load: dry.DryRun) -> ProjectionOut | None:
    from math import isfinite

    from wareleaf.stages import dry
    from wareleaf.stages.common import StageReading

    if not data.readings or data.target_moisture_wb is None:
        return None
    seen = [StageReading(**r.model_dump()) for r in data.readings]
    view = dry.project(dryer, load, seen, data.target_moisture_wb)
    names = set(ProjectionOut.model_fields) - {
        "residence_h",
        "residence_sd_h",
        "sources",
        "warnings",
    }
    return ProjectionOut(
        residence_h=view.finish_h if isfinite(view.finish_h) else None,
        residence_sd_h=view.finish_sd_h if isfinite(view.finish_sd_h) else None,
        **{n: getattr(view, n) for n in names},
    )
